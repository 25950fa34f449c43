"""The watcher over a real store that is written while it looks."""

from __future__ import annotations

import io
import threading
from dataclasses import replace
from pathlib import Path

from collector.clock import Clock
from collector.configuration import SeriesConfiguration
from collector.demo.view import View
from collector.demo.watcher import Watcher
from collector.store import Commit, IncidentRecord, Row, Store
from rules import HOUR_US, MICROSECONDS, Evidence, Incident, Priority

# Midnight of 21 March 2026 UTC.
MIDNIGHT_US = 1_774_051_200 * MICROSECONDS
MINUTE_US = HOUR_US // 60
SERIES = (
    SeriesConfiguration("reef", "temperature", "temperature"),
    SeriesConfiguration("reef", "ph", "ph"),
)


def _row(series: int, minute: int, value: float) -> Row:
    return (series, MIDNIGHT_US + minute * MINUTE_US, value, 1, 0, 0, 0, b"")


def _commit(store: Store, *rows: Row, incidents: tuple[IncidentRecord, ...] = ()) -> None:
    at_us = MIDNIGHT_US + 12 * HOUR_US
    store.commit(Commit(committed_us=at_us, engine_us=at_us, rows=rows, incidents=incidents))


class Watched:
    """A store, a watcher on it, and what the watcher says."""

    def __init__(self, folder: Path) -> None:
        self.store = Store(folder / "brinebell.sqlite")
        self.store.register(SERIES)
        self.out = io.StringIO()
        self.looked = threading.Semaphore(0)
        self.told: list[IncidentRecord | None] = []
        self.watcher = Watcher(
            self.store.path,
            Clock(start_us=MIDNIGHT_US, rate=1.0),
            View("UTC", out=self.out),
            cause="heater_failed_off",
            leader="temperature",
            after_look=self._after_look,
        )

    def _after_look(self, recognised: IncidentRecord | None) -> None:
        self.told.append(recognised)
        self.looked.release()

    def look(self) -> str:
        """What is said by the end of the next whole look."""
        for _ in range(2):
            assert self.looked.acquire(timeout=10)
        return self.out.getvalue()


def test_a_line_is_shown_each_ten_minutes_of_the_leading_series(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    with watched.store, watched.watcher:
        _commit(watched.store, _row(0, 9, 25.4), _row(1, 15, 8.2))
        assert watched.look() == ""
        _commit(watched.store, _row(0, 10, 25.3))
        assert watched.look() == "00:10  water 25.30 degC   pH 8.20\n"
        _commit(watched.store, _row(0, 19, 25.2))
        assert watched.look() == "00:10  water 25.30 degC   pH 8.20\n"
        _commit(watched.store, _row(0, 34, 25.1))
        assert watched.look().splitlines()[1:] == ["00:34  water 25.10 degC   pH 8.20"]


def test_an_incident_is_told_when_it_opens_and_when_it_ends_and_not_between(tmp_path: Path) -> None:
    incident = Incident(
        number=1,
        tank="reef",
        cause="heater_failed_off",
        series=("temperature",),
        priority=Priority.URGENT,
        first_evidence_us=MIDNIGHT_US,
        alarmed_at_us=MIDNIGHT_US + MINUTE_US,
        ended_at_us=None,
        evidence=Evidence(),
        alarms=(),
    )
    other = replace(incident, number=2, cause="probe_silent")
    watched = Watched(tmp_path)
    with watched.store, watched.watcher:
        _commit(watched.store, incidents=(IncidentRecord(other, "title", "body"),))
        assert watched.look().count("Incident 2") == 1
        assert watched.watcher.recognised is None
        assert watched.told[-1] is None
        _commit(watched.store, incidents=(IncidentRecord(incident, "title", "body"),))
        assert watched.look().count("Incident 1") == 1
        assert watched.told[-1] is not None
        assert watched.told[-1].incident.number == 1
        ended = replace(incident, ended_at_us=MIDNIGHT_US + HOUR_US)
        _commit(watched.store, incidents=(IncidentRecord(ended, "title", "body"),))
        assert watched.look().count("Incident 1") == 2
        assert watched.out.getvalue().count("ended 01:00") == 1


def test_what_was_committed_last_is_still_told(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    with watched.store, watched.watcher:
        watched.look()
        _commit(watched.store, _row(0, 30, 25.0))
    assert watched.out.getvalue() == "00:30  water 25.00 degC\n"
