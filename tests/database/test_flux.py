"""Reading by Flux, against answers in the published form of annotated CSV.

NOT run on a real version 2 server. The forms are those of the InfluxDB 2 reference, "Annotated CSV":
annotation rows that begin with #, a header, an empty row between tables, CRLF, and an error as a table of its
own. The server here only hands them out; who has a real one runs `brinebell check`, which asks the same.
"""

from __future__ import annotations

import csv
import json
import math
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from collector.configuration import DatabaseConfiguration
from collector.database import open_database
from collector.database.version2 import flux, read_rows
from collector.errors import DatabaseError

DAY_US = 86_400_000_000
# 2026-03-01T00:00:00Z
BEGIN_US = 1_772_323_200_000_000
TWO_ROWS = (
    "#datatype,string,long,dateTime:RFC3339,long,double\r\n"
    "#group,false,false,false,false,false\r\n"
    "#default,_result,,,,\r\n"
    ",result,table,_time,flag,value\r\n"
    ",,0,2026-03-01T00:00:10.000001Z,1,25.123456789012345\r\n"
    ",,0,2026-03-01T00:00:20Z,9,\r\n"
    "\r\n"
)
NEXT_DAY = (
    "#datatype,string,long,dateTime:RFC3339,double,long\r\n"
    ",result,table,_time,value,flag\r\n"
    ",_result,0,2026-03-02T00:00:00.123456789Z,-1e-07,4\r\n"
    "\r\n"
)
# An instant range in which nothing was measured has no column value at all.
FLAG_ALONE = (
    "#datatype,string,long,dateTime:RFC3339,long\r\n,result,table,_time,flag\r\n"
    ",,0,2026-03-01T00:00:10Z,9\r\n\r\n"
)
ERROR = (
    "#datatype,string,string\r\n#group,true,true\r\n#default,,\r\n,error,reference\r\n"
    ",Failed to parse query,897\r\n"
)


@contextmanager
def answering(*answers: tuple[int, str]) -> Iterator[tuple[str, list[tuple[str, dict, str]]]]:
    """Hands out the answers in turn; yields the address and what was asked (path, body, authorisation)."""
    asked: list[tuple[str, dict, str]] = []
    waiting = list(answers)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            asked.append((self.path, body, self.headers["Authorization"]))
            status, text = waiting.pop(0)
            self.send_response(status)
            self.send_header(
                "Content-Type", "text/csv; charset=utf-8" if status == 200 else "application/json"
            )
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text.encode())

        def log_message(self, *_args: object) -> None: ...

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", asked
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def test_readings_are_asked_for_day_by_day_and_read_with_microseconds_and_every_digit() -> None:
    with answering((200, TWO_ROWS), (200, NEXT_DAY)) as (address, asked):
        past = open_database(DatabaseConfiguration(address, org="home", bucket="reef", token="salt"))
        times, values, flags = past.readings("reef", "temperature", BEGIN_US, BEGIN_US + DAY_US + 1_000_000)
        past.close()
    assert times.tolist() == [BEGIN_US + 10_000_001, BEGIN_US + 20_000_000, BEGIN_US + DAY_US + 123_456]
    assert values.tolist()[::2] == [25.123456789012345, -1e-07]
    assert math.isnan(values[1])
    assert flags.tolist() == [1, 9, 4]
    assert [path for path, *_ in asked] == ["/api/v2/query?org=home"] * 2
    assert {token for *_, token in asked} == {"Token salt"}
    first, second = (body["query"] for _, body, _ in asked)
    assert "range(start: 2026-03-01T00:00:00.000000Z, stop: 2026-03-02T00:00:00.000000Z)" in first
    assert "range(start: 2026-03-02T00:00:00.000000Z, stop: 2026-03-02T00:00:01.000000Z)" in second


def test_the_question_is_for_one_series_and_its_names_are_quoted() -> None:
    assert flux('a"b\\', "reef", "ph", 0, 1) == (
        'from(bucket: "a\\"b\\\\")'
        " |> range(start: 1970-01-01T00:00:00.000000Z, stop: 1970-01-01T00:00:00.000001Z)"
        ' |> filter(fn: (r) => r._measurement == "reading" and r.tank == "reef" and r.series == "ph")'
        ' |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")'
        ' |> keep(columns: ["_time", "value", "flag"]) |> sort(columns: ["_time"])'
    )


@pytest.mark.parametrize("empty", ["", "\r\n"])
def test_an_answer_without_a_table_holds_no_readings(empty: str) -> None:
    assert list(read_rows(csv.reader([empty]))) == []


def test_a_stretch_in_which_nothing_was_measured_has_flags_alone() -> None:
    ((at_us, value, flag),) = read_rows(csv.reader(FLAG_ALONE.splitlines()))
    assert (at_us, flag) == (BEGIN_US + 10_000_000, 9)
    assert math.isnan(value)


@pytest.mark.parametrize(
    ("status", "answer", "told"),
    [
        (200, TWO_ROWS + ERROR, "Failed to parse query"),
        (200, "<html>\r\n", "the database answers no readings: <html>"),
        (400, '{"code":"invalid","message":"compilation failed: error at @1:5-1:6"}', "compilation failed"),
        (401, '{"code":"unauthorized","message":"unauthorized access"}', "401: unauthorized access"),
    ],
)
def test_an_error_is_told_in_its_own_words(status: int, answer: str, told: str) -> None:
    with answering((status, answer)) as (address, _):
        past = open_database(DatabaseConfiguration(address, org="home", token="salt"))
        with pytest.raises(DatabaseError, match=told):
            past.readings("reef", "temperature", BEGIN_US, BEGIN_US + 1)
        past.close()
