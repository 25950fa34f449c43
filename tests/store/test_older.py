"""Readings and charts of any time: of the file while it has them, of an older record what it has no more."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from collector.errors import DatabaseError
from collector.store import Commit, IncidentRecord, Readings, Store, StoreReader, Upkeep
from rules import HOUR_US, Evidence, Incident, Priority
from tests.store.commits import SECOND, SERIES, START_US, of, row

DAY_US = 24 * HOUR_US
EVERY_US = 10 * SECOND


class Record:
    """An older record that has a reading every ten seconds, and notes what it is asked for."""

    def __init__(self, fails: str = "", from_us: int = 0) -> None:
        self.asked: list[tuple[str, str, int, int]] = []
        self._fails, self._from_us = fails, from_us

    def readings(self, tank: str, series: str, start_us: int, end_us: int) -> Readings:
        self.asked.append((tank, series, (start_us - START_US) // SECOND, (end_us - START_US) // SECOND))
        if self._fails:
            raise DatabaseError(self._fails)
        times = np.arange(max(start_us, self._from_us), max(end_us, self._from_us), EVERY_US)
        return Readings(times, np.full(len(times), 20.0), np.ones(len(times), np.uint8))


Take = Callable[..., tuple[list[float], str]]


def taker(reader: StoreReader) -> Take:
    def take(start: int, end: int, name: str = "temperature") -> tuple[list[float], str]:
        series = reader.series_id("reef", name)
        found, lack = reader.all_readings(series, START_US + start * SECOND, START_US + end * SECOND)
        assert (np.diff(found.times_us) > 0).all()
        return found.values.tolist(), lack

    return take


def test_the_older_record_is_asked_only_for_what_is_older_than_all_that_the_store_has(tmp_path: Path) -> None:
    path, record = tmp_path / "brinebell.sqlite", Record()
    with Store(path) as store, StoreReader(path, record) as reader, StoreReader(path) as alone:
        store.register(SERIES)
        store.commit(of(*(row(0, at, 25.0) for at in range(100, 200, 10))))
        values = taker(reader)
        assert values(100, 140) == ([25.0] * 4, "")
        assert record.asked == []
        assert values(80, 120) == ([20.0, 20.0, 25.0, 25.0], "")
        assert values(0, 30) == ([20.0] * 3, "")
        assert record.asked == [("reef", "temperature", 80, 100), ("reef", "temperature", 0, 30)]
        # Of a series of which the store has nothing, all is asked for.
        assert values(180, 200, "ph") == ([20.0, 20.0], "")
        assert taker(alone)(80, 120) == ([25.0, 25.0], "")


@pytest.fixture
def let_go(tmp_path: Path) -> Path:
    """Nine days, of which those before the eighth were let go, but for an incident on the fourth."""
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store:
        store.register(SERIES)
        for day in range(9):
            times = range(START_US + day * DAY_US, START_US + (day + 1) * DAY_US, 60 * SECOND)
            store.commit(Commit(times[-1], None, rows=[(0, at, 25.0, 1, 0, 0, 0, b"") for at in times]))
        begin_us = START_US + 3 * DAY_US
        incident = Incident(
            1, "reef", "over_limit", ("temperature",), Priority.HIGH, begin_us, begin_us, begin_us + HOUR_US,
            Evidence(), (),
        )  # fmt: skip
        store.commit(Commit(begin_us, None, incidents=[IncidentRecord(incident, "", "")]))
        upkeep = Upkeep(store)
        upkeep.catch_up(START_US + 9 * DAY_US)
        while upkeep.let_go(START_US + 8 * DAY_US, DAY_US) is not None:
            pass
    return path


def test_what_was_let_go_is_asked_for_and_what_was_kept_near_an_incident_is_not(let_go: Path) -> None:
    record = Record()
    with StoreReader(let_go, record) as reader:
        values = taker(reader)
        day, hour = 86_400, 3600
        # From a day before the incident until a day after it.
        assert values(2 * day, 4 * day + hour) == ([25.0] * (49 * 60), "")
        assert record.asked == []
        found, lack = values(2 * day - 20, 4 * day + hour + 20)
        assert (found[:3], found[-3:], lack) == ([20.0, 20.0, 25.0], [25.0, 20.0, 20.0], "")
        assert record.asked == [
            ("reef", "temperature", 2 * day - 20, 2 * day),
            ("reef", "temperature", 4 * day + hour, 4 * day + hour + 20),
        ]
        assert values(8 * day - 20, 8 * day + 60) == ([20.0, 20.0, 25.0], "")
    # Where both have a reading, the one of the store counts.
    with Store(let_go) as store, StoreReader(let_go, record) as reader:
        store.register(SERIES)
        store.commit(of(row(0, 6 * day + 10, 25.5)))
        assert taker(reader)(6 * day, 6 * day + 30) == ([20.0, 25.5, 20.0], "")


def test_a_record_that_does_not_answer_or_has_less_is_told_in_a_sentence(let_go: Path) -> None:
    day = 86_400
    away = "Older readings are left out, because the database does not give them: it sleeps"
    less = "Of 60 readings of this time that the store has let go the database has 30"
    gone = "Not every reading of this time is kept any more (service.keep_readings), and no database is configured that may have them"  # noqa: E501
    with StoreReader(let_go, Record("it sleeps")) as reader:
        assert taker(reader)(8 * day - 60, 8 * day + 60) == ([25.0], away)
    with StoreReader(let_go) as reader:
        assert taker(reader)(7 * day, 7 * day + 3600) == ([], gone)
        assert taker(reader)(2 * day, 3 * day)[1] == ""
        # A part of a minute is held against nothing.
        assert taker(reader)(7 * day + 1, 7 * day + 59) == ([], "")
    half = Record(from_us=START_US + 7 * DAY_US + 1800 * SECOND)
    with StoreReader(let_go, half) as reader:
        half_hour = 30 * 6
        found, lack = taker(reader)(7 * day, 7 * day + 3600)
        assert (len(found), lack) == (half_hour, "")
        half.readings = lambda *asked, give=half.readings: Readings(*(one[::6] for one in give(*asked)))  # type: ignore[method-assign]
        assert taker(reader)(7 * day, 7 * day + 3600) == ([20.0] * 30, less)


def test_a_chart_asks_only_where_minutes_do_not_do(let_go: Path) -> None:
    record = Record()
    with StoreReader(let_go, record) as reader, StoreReader(let_go, Record("it sleeps")) as lonely:
        series = reader.series_id("reef", "temperature")
        hour_us = START_US + 6 * DAY_US
        for span_us in (6 * HOUR_US, 3 * DAY_US):
            assert reader.chart(series, hour_us, hour_us + span_us, 360)[1] == ""
        # What is younger, or was kept, is here.
        assert reader.chart(series, START_US + 3 * DAY_US, START_US + 3 * DAY_US + HOUR_US, 360)[1] == ""
        assert record.asked == []
        fine, lack = reader.chart(series, hour_us, hour_us + HOUR_US, 360)
        assert (fine.counts.tolist(), lack) == ([1] * 360, "")
        assert len(record.asked) == 1
        coarse, lack = lonely.chart(series, hour_us, hour_us + HOUR_US, 360)
        assert lack == "Drawn from minutes, because the database does not give the readings: it sleeps"
        assert (coarse.counts.sum(), np.nanmean(coarse.mean)) == (60, 25.0)
        # Before the first minute there is nothing to draw it from.
        before, lack = reader.chart(series, START_US - DAY_US, START_US + HOUR_US, 360)
        assert (before.counts.sum(), lack) == (24 * 360 + 60 * 6, "")
        assert record.asked[1:] == [("reef", "temperature", -86_400, 3600)]
        lack = lonely.chart(series, START_US - DAY_US, START_US + HOUR_US, 360)[1]
        assert lack == "Older readings are left out, because the database does not give them: it sleeps"
        week, _ = reader.chart(series, START_US - 6 * DAY_US, START_US + DAY_US, 360)
        assert week.counts.sum() == 7 * 24 * 360
        assert reader.chart(series, START_US - 8 * DAY_US, START_US + DAY_US, 360)[0].counts.sum() == 1440
        # And buckets wait for nobody.
        assert reader.buckets(series, START_US - DAY_US, START_US + HOUR_US, 360).counts.sum() == 60
        assert len(record.asked) == 3
