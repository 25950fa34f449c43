"""Live updates: what a listener is told, when, and that streams end."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import httpx
import orjson
import pytest

from collector.clock import Clock
from collector.configuration import Configuration
from collector.pages import serve_in_thread
from collector.pages.live import MOST_LISTENERS
from collector.store import Commit, Store, StoreReader
from tests.pages import tank
from tests.pages.tank import NOW, SECOND


@contextmanager
def listening(pages: httpx.Client) -> Iterator[Iterator[dict[str, str]]]:
    """The texts of each event, as they come."""
    with pages.stream("GET", "/live", timeout=10) as answer:
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        yield (
            orjson.loads(line.removeprefix("data: "))
            for line in answer.iter_lines()
            if line.startswith("data: ")
        )


def test_listener_first_gets_every_text(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    with listening(pages) as events:
        texts = next(events)
    assert texts["sentence"] == "All quiet, no incident so far"
    assert texts["reef/temperature:value"].replace("\N{NO-BREAK SPACE}", " ").endswith(" °C")
    assert texts["reef/temperature:line"].startswith("M")
    assert {key.partition(":")[0] for key in texts if "/" in key} == {
        f"reef/{name}" for name, _, _ in tank.SERIES
    }


def test_new_reading_is_told_with_nothing_else(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2, end_us=NOW - 10 * SECOND)
    with listening(pages) as events:
        next(events)
        tank.commit(store, tank.row(7, NOW, 1.0))
        assert next(events) == {"reef/floor_leak:value": "closed"}


def test_incident_changes_the_shape_of_the_page(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    with listening(pages) as events:
        shape = next(events)["shape"]
        assert f'data-shape="{shape}"' in pages.get("/").text
        store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident()]))
        texts = next(events)
        assert texts["shape"] != shape
        assert texts["sentence"].startswith("Urgent: heater failed off")
        assert f'data-shape="{texts["shape"]}"' in pages.get("/").text


def test_silence_is_told_when_only_time_passes(store: Store, configuration: Configuration) -> None:
    tank.commit(store, *(tank.row(index, NOW, 8.0) for index in range(len(tank.SERIES))))
    now_us = [NOW + 60 * SECOND]
    path = configuration.store.path
    clock = Clock(wall=lambda: now_us[0])
    with (
        serve_in_thread(configuration, lambda: StoreReader(path), clock, live_every_s=0.05) as server,
        httpx.Client(base_url=server.address, trust_env=False) as pages,
        listening(pages) as events,
    ):
        assert next(events)["reef/ph:age"] == "1\N{NO-BREAK SPACE}min ago"
        now_us[0] = NOW + 16 * 60 * SECOND
        assert next(events)["sentence"] == "No readings since 02:45: nothing is watched"


def test_every_listener_is_told(pages: httpx.Client, store: Store, configuration: Configuration) -> None:
    tank.fill(store, configuration, hours=2, end_us=NOW - 10 * SECOND)
    with ExitStack() as stack:
        listeners = [stack.enter_context(listening(pages)) for _ in range(3)]
        for events in listeners:
            assert next(events)["sentence"] == "All quiet, no incident so far"
        tank.commit(store, tank.row(7, NOW, 1.0))
        for events in listeners:
            assert next(events) == {"reef/floor_leak:value": "closed"}


def test_one_listener_too_many_is_refused_and_the_place_of_one_that_left_is_free(
    pages: httpx.Client, store: Store
) -> None:
    with ExitStack() as stack:
        # Events that nobody holds are closed, and their stream with them.
        listeners = [stack.enter_context(listening(pages)) for _ in range(MOST_LISTENERS)]
        for events in listeners:
            next(events)
        assert pages.get("/live").status_code == 503
        assert pages.get("/").status_code == 200
    until = time.monotonic() + 10
    while time.monotonic() < until:
        with pages.stream("GET", "/live") as answer:
            if answer.status_code == 200:
                return
    pytest.fail("places of listeners that left stay taken")


def test_closing_the_server_ends_live_streams_at_once(store: Store, configuration: Configuration) -> None:
    path = configuration.store.path
    server = serve_in_thread(configuration, lambda: StoreReader(path), Clock(), live_every_s=0.05)
    with httpx.Client(base_url=server.address, trust_env=False) as pages, listening(pages) as events:
        next(events)
        started = time.monotonic()
        closing = threading.Thread(target=server.close)
        closing.start()
        for _ in events:
            pass
        closing.join(10)
        assert not closing.is_alive()
        # Streams that have to be cut off take 3 s.
        assert time.monotonic() - started < 2.5


def test_record_that_breaks_is_logged_once_and_the_stream_goes_on(
    store: Store, configuration: Configuration, caplog: pytest.LogCaptureFixture
) -> None:
    path = configuration.store.path
    is_broken = threading.Event()

    class Breaking(StoreReader):
        def boards(self):
            if is_broken.is_set():
                raise OSError("the disk is gone")
            return super().boards()

    with (
        serve_in_thread(
            configuration, lambda: Breaking(path), Clock(wall=lambda: NOW), live_every_s=0.02
        ) as server,
        httpx.Client(base_url=server.address, trust_env=False) as pages,
        listening(pages) as events,
    ):
        next(events)
        is_broken.set()
        until = time.monotonic() + 10
        while "the disk is gone" not in caplog.text and time.monotonic() < until:
            time.sleep(0.01)
        assert pages.get("/").status_code == 500
        time.sleep(0.1)
        is_broken.clear()
        tank.commit(store, tank.row(7, NOW, 1.0))
        assert next(events)["reef/floor_leak:value"] == "closed"
    told = [record for record in caplog.records if "live pages" in record.getMessage()]
    assert len(told) == 1
