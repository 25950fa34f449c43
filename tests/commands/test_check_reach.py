"""What `brinebell check` says of tonight, of what is out of service, and of where addresses lead."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from collector.alarm_record import LifeChange
from collector.checks import Verdict
from collector.checks.night import check_night
from collector.checks.reach import check_reach
from collector.clock import Clock
from collector.configuration import Configuration, PageConfiguration, PersonConfiguration
from collector.pages import serve_in_thread
from collector.store import Commit, Store, StoreReader
from rules import AlarmKey, AlarmLife, AlarmState, Hold, Priority
from tests.commands.conftest import free_port
from tests.commands.test_check import _one
from tests.pages import tank

# -- night ---------------------------------------------------------------------------------------------

DAY_US = 24 * 3600 * 1_000_000
NOON = 20_000 * DAY_US + DAY_US // 2


def with_people(folder: Path, *people: PersonConfiguration) -> Configuration:
    return replace(tank.configuration(folder / "store"), people=people)


def test_where_nobody_is_rung_at_night_that_is_wrong(tmp_path: Path) -> None:
    sleeper = PersonConfiguration("sam", ("json://h",), rings_at_night=frozenset({Priority.HIGH}))
    found = _one(check_night(with_people(tmp_path, sleeper), NOON), Verdict.WRONG)
    assert "nobody is rung at night" in found.text
    assert "rings_at_night" in found.mend


def test_who_rings_tonight_is_told_in_order_and_absences_count(tmp_path: Path) -> None:
    day = datetime.fromtimestamp(NOON / 1e6, UTC).date()
    sam = PersonConfiguration("sam", ("json://h",), away=((day, day),))
    kim, ann = (PersonConfiguration(name, ("json://h",)) for name in ("kim", "ann"))
    found = _one(check_night(with_people(tmp_path, sam, kim, ann), NOON), Verdict.WELL)
    assert found.text == "what is urgent rings tonight: kim, then ann"
    found = _one(check_night(with_people(tmp_path, sam), NOON), Verdict.NOTE)
    assert "away now: sam" in found.text


def test_what_is_out_of_service_is_told_with_its_mend(tmp_path: Path) -> None:
    configuration = with_people(tmp_path)
    hold = Hold(AlarmState.OUT_OF_SERVICE, NOON, None, "sam", "new cable")
    series, alarm = AlarmKey("reef", "ph", ""), AlarmKey("reef", "ph", "over_limit")
    lives = [
        LifeChange(one, NOON, "take out of service", AlarmLife(holds=(hold,))) for one in (series, alarm)
    ]
    with Store(configuration.store.path) as store:
        store.commit(Commit(NOON, NOON, lives=lives))
    found = _one(check_night(configuration, NOON), Verdict.NOTE)
    assert found.text.startswith("ph in reef is out of service since 2024-10-04 14:00 by sam (new cable)")
    assert found.mend == "when it is mended: brinebell repair end ph --tank reef"


# -- where addresses lead ------------------------------------------------------------------------------


@contextmanager
def web(body: bytes, status: int = 200) -> Iterator[int]:
    """A web server that says the same to everybody."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *arguments: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def reaching(folder: Path, listen: int, url: str) -> Configuration:
    return tank.configuration(folder / "store", page=PageConfiguration(port=listen, public_url=url))


def test_a_link_that_leads_to_our_page_is_well(tmp_path: Path) -> None:
    configuration = tank.configuration(tmp_path / "store")
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        path = configuration.store.path
        with serve_in_thread(configuration, lambda: StoreReader(path), Clock()) as server:
            port = int(server.address.rpartition(":")[2])
            found = list(check_reach(reaching(tmp_path, port, server.address)))
    assert [one.verdict for one in found] == [Verdict.WELL]


@pytest.mark.parametrize(
    ("body", "status", "words"), [(b"<title>other</title>", 200, "something else"), (b"", 502, "502")]
)
def test_a_link_that_leads_elsewhere_is_wrong(tmp_path: Path, body: bytes, status: int, words: str) -> None:
    with web(body, status) as port:
        found = _one(check_reach(reaching(tmp_path, port, f"http://127.0.0.1:{port}")), Verdict.WRONG)
    assert found.text.startswith("links in messages lead nowhere: ")
    assert words in found.text
    assert "page.public_url" in found.mend


def test_links_are_not_looked_at_while_the_page_is_not_served(tmp_path: Path) -> None:
    found = _one(check_reach(reaching(tmp_path, free_port(), "http://127.0.0.1:9")), Verdict.NOTE)
    assert "check again while it runs" in found.mend


@pytest.mark.parametrize(
    ("url", "is_told"),
    [
        ("http://tank.example.org", True),
        ("http://8.8.8.8:8460", True),
        ("https://tank.example.org", False),
        ("http://tank.local:8460", False),
        ("http://192.168.1.20:8460", False),
        ("http://cellar", False),
    ],
)
def test_links_over_plain_http_through_other_networks_are_noted(
    tmp_path: Path, url: str, is_told: bool
) -> None:
    told = [one for one in check_reach(reaching(tmp_path, free_port(), url)) if "plain http" in one.text]
    assert bool(told) is is_told


@pytest.mark.parametrize(("status", "verdict"), [(200, Verdict.WELL), (404, Verdict.WRONG)])
def test_the_address_of_the_sign_of_life_is_tried_and_its_path_not_told(
    tmp_path: Path, status: int, verdict: Verdict
) -> None:
    with web(b"ok", status) as port:
        url = f"http://127.0.0.1:{port}/secret-9a3c"
        (found,) = check_reach(replace(tank.configuration(tmp_path / "store"), sign_of_life_url=url))
    assert found.verdict is verdict
    assert "secret-9a3c" not in "".join(found.lines())
