"""Care of probes in the store: calibrations that were noted, and how good a series' readings were."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import NamedTuple

import orjson

from collector.requests import Answer
from rules import Flag


class Calibration(NamedTuple):
    """A calibration that somebody noted; `due_us` is when the next one is due, if ever."""

    tank: str
    series: str
    done_us: int
    due_us: int | None
    note: str
    who: str


class Care:
    """What `StoreReader` tells of care."""

    _connection: sqlite3.Connection

    def calibrations(self, last: int = 100) -> tuple[Calibration, ...]:
        """Those that were done last, the newest first."""
        rows = self._connection.execute(
            "SELECT tank, series, done_us, due_us, note, who FROM calibrations"
            " ORDER BY done_us DESC, id DESC LIMIT ?",
            (last,),
        )
        return tuple(Calibration(*row) for row in rows)

    def flag_counts(self, series: int, start_us: int, end_us: int) -> dict[int, int]:
        """How many readings of a series in a half open range have each primary flag."""
        span = "FROM readings WHERE series = ? AND observed_us >= ? AND observed_us < ?"
        values = (series, start_us, end_us)
        (total,) = self._connection.execute(f"SELECT count(*) {span}", values).fetchone()
        # Grouped are only the few that did not pass, which takes half as long.
        found: dict[int, int] = dict(
            self._connection.execute(
                f"SELECT flag_mark & 15, count(*) {span} AND flag_mark & 15 <> ? GROUP BY 1",
                (*values, int(Flag.PASS)),
            )
        )
        passed = total - sum(found.values())
        return {**found, int(Flag.PASS): passed} if passed else found


def record_calibrations(connection: sqlite3.Connection, answers: Sequence[Answer], number: int) -> None:
    """Note the calibrations among requests that are done with this commit, in the caller's transaction."""
    for answer in answers:
        row = connection.execute(
            "SELECT who, asked FROM requests WHERE id = ? AND is_done"
            " AND json_extract(asked, '$.do') = 'record_calibration'",
            (answer.request,),
        ).fetchone()
        if row is not None:
            asked = orjson.loads(row[1])
            connection.execute(
                "INSERT INTO calibrations(commit_no, tank, series, done_us, due_us, note, who)"
                " VALUES(?, ?, ?, ?, ?, ?, ?)",
                (
                    number,
                    asked["tank"],
                    asked["series"],
                    asked["done_us"],
                    asked["due_us"],
                    asked["note"],
                    row[0],
                ),
            )
