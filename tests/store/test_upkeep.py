"""Rollups behind time, old stores filled, readings let go of: what stays, and what may not go."""

from __future__ import annotations

import logging
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.store import BoardState, Commit, IncidentRecord, Store, StoreReader, Upkeep
from collector.store.mirroring import MirrorCursor
from collector.store.rollups import SLOT_US
from collector.store.schema import MIGRATIONS, migrate
from collector.store.upkeep import DAY_US, HOUR_US
from rules import Evidence, Flag, FlagRevised, Incident, Priority
from tests.store.commits import (
    SECOND,
    START_US,
    assert_rollups_match_readings,
    of,
    query,
    roll_up,
    row,
)

DAY = 86_400
VERSION_BEFORE_MINUTES = 7


def fill(store: Store, days: int, every: int = 600) -> None:
    """A temperature in each of two tanks, a commit an hour."""
    for hour in range(24 * days):
        rows = [
            row(series, 3600 * hour + at, 25 + (hour + at) % 17 / 10)
            for at in range(0, 3600, every)
            for series in (0, 2)
        ]
        store.commit(of(*rows, seconds=3600 * (hour + 1)))


def incident(first_us: int, ended_us: int | None) -> Incident:
    return Incident(
        1,
        "reef",
        "under_limit",
        ("temperature",),
        Priority.HIGH,
        first_us,
        first_us,
        ended_us,
        Evidence(),
        (),
    )


def let_all_go(upkeep: Upkeep, before_us: int) -> int:
    count = 0
    while (gone := upkeep.let_go(before_us, DAY_US)) is not None:
        count += gone
    return count


def first_us(path: Path, series: int) -> int:
    return query(path, "SELECT min(observed_us) FROM readings WHERE series = ?", (series,))[0][0]


def test_what_is_younger_than_a_quarter_of_an_hour_is_not_rolled_up_yet(store: Store, path: Path) -> None:
    store.commit(of(*(row(0, at, 25.0) for at in range(0, 7200, 60))))
    roll_up(store, 7200)
    (rolled_us,) = query(path, "SELECT DISTINCT value FROM upkeep")[0]
    assert START_US + 7200 * SECOND - HOUR_US // 2 < rolled_us <= START_US + 7200 * SECOND - HOUR_US // 4
    assert_rollups_match_readings(path)


def test_nothing_is_written_where_there_is_nothing_to_roll_up(store: Store, path: Path) -> None:
    store.commit(of(row(0, 0, 25.0)))
    roll_up(store, DAY)
    before = query(path, "SELECT * FROM upkeep")
    roll_up(store, 9 * DAY)
    assert query(path, "SELECT * FROM upkeep") == before


def test_a_late_reading_and_a_late_verdict_reach_their_minute(
    store: Store, reader: StoreReader, path: Path
) -> None:
    store.commit(of(*(row(0, at, 25.0) for at in range(0, 7200, 10))))
    roll_up(store, DAY)
    store.commit(of(row(0, 65, 24.0)))
    store.commit(
        replace(of(row(0, 66, 99.0)), revised=[FlagRevised(0, START_US + 66 * SECOND, int(Flag.FAIL), 0x400)])
    )
    assert_rollups_match_readings(path)
    found = query(path, "SELECT low, high, count FROM minutes WHERE high IS NOT NULL")
    assert found == [(24.0, 25.0, 7)]


def test_a_store_of_an_older_version_is_filled_and_says_how_far_it_is(
    path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path.parent.mkdir()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        migrate(connection, MIGRATIONS[:VERSION_BEFORE_MINUTES])
        connection.execute("INSERT INTO series VALUES(1, 'reef', 'temperature', 'temperature')")
        times = [START_US + at * 600 * SECOND for at in range(144 * 40)]
        connection.execute("BEGIN")
        connection.executemany("INSERT INTO readings VALUES(1, ?, 25.5, 1, 0, 1)", [(at,) for at in times])
        # As that version kept them, with every commit.
        connection.execute(
            "INSERT INTO rollups SELECT series, observed_us / 900000000 * 900000000 AS slot, min(value),"
            " max(value), sum(value), count(*) FROM readings GROUP BY slot"
        )
        connection.execute("COMMIT")
    now_us = times[-1] + HOUR_US
    with Store(path) as store, StoreReader(path) as reader:
        asked = (1, times[0], now_us, 90)
        before = reader.buckets(*asked)
        caplog.set_level(logging.INFO, "collector.store.upkeep")
        upkeep = Upkeep(store)
        # Its turns come with the rounds of the loop.
        for _ in range(10_000):
            upkeep._next_s = 0.0
            upkeep.turn(now_us)
            if store.rolled_up_to_us > now_us - HOUR_US:
                break
        upkeep._next_s = 0.0
        upkeep.turn(now_us)
        after = reader.buckets(*asked)
    assert_rollups_match_readings(path)
    assert before.counts.sum() == after.counts.sum() == len(times)
    np.testing.assert_array_equal(before.mean, after.mean)
    assert len(query(path, "SELECT * FROM minutes")) == len(times)
    lines = [record.message for record in caplog.records]
    assert lines[0].startswith("rollups of 40 days are made in the background")
    assert any(line.endswith("% done") for line in lines)
    assert lines[-1] == "the rollups of the store are up to date"


def test_readings_go_and_their_minutes_stay(store: Store, reader: StoreReader, path: Path) -> None:
    fill(store, 8)
    before_us = START_US + 5 * DAY_US
    week = (START_US, START_US + 8 * DAY_US, 300)
    long, day = reader.buckets(1, *week), reader.buckets(1, START_US + DAY_US, START_US + 2 * DAY_US, 96)
    roll_up(store, 8 * DAY)
    gone = let_all_go(Upkeep(store), before_us)
    assert gone == 2 * 6 * 24 * 5
    assert before_us - HOUR_US <= first_us(path, 1) <= before_us
    found = reader.buckets(1, START_US + DAY_US, START_US + 2 * DAY_US, 96)
    for name in ("starts_us", "low", "high", "counts"):
        np.testing.assert_array_equal(getattr(found, name), getattr(day, name))
        np.testing.assert_array_equal(getattr(reader.buckets(1, *week), name), getattr(long, name))
    np.testing.assert_allclose(found.mean, day.mean, rtol=1e-12)


def test_what_is_near_an_incident_of_the_tank_stays_whole(
    store: Store, reader: StoreReader, path: Path
) -> None:
    fill(store, 8)
    begun_us, ended_us = START_US + 3 * DAY_US, START_US + 3 * DAY_US + HOUR_US
    record = IncidentRecord(incident(begun_us, ended_us), "cold", "water")
    store.commit(Commit(START_US + 8 * DAY_US, None, incidents=[record]))
    near = (1, begun_us - HOUR_US, begun_us + HOUR_US, 720)
    before = reader.buckets(*near)
    roll_up(store, 8 * DAY)
    let_all_go(Upkeep(store), START_US + 7 * DAY_US)
    assert first_us(path, 1) == begun_us - DAY_US
    assert query(
        path,
        "SELECT count(*) FROM readings WHERE series = 1 AND observed_us < ?",
        (START_US + 6 * DAY_US,),
    ) == [(2 * 144 + 6,)]
    # Another tank had no incident.
    assert first_us(path, 3) > START_US + 6 * DAY_US
    # And the page of the incident is drawn from every reading, not from minutes.
    np.testing.assert_array_equal(reader.buckets(*near).mean, before.mean)


def test_nothing_goes_while_an_incident_lasts_or_before_a_mirror_has_it(store: Store, path: Path) -> None:
    fill(store, 4)
    roll_up(store, 4 * DAY)
    with closing(MirrorCursor(path, "database")) as cursor:
        upkeep = Upkeep(store, is_mirrored=True)
        let_all_go(upkeep, START_US + 4 * DAY_US)
        assert first_us(path, 1) == START_US
        batch = cursor.next_batch(1000)
        cursor.settle(batch, {}, START_US)
        sent_us = max(batch.times_us)
        let_all_go(upkeep, START_US + 4 * DAY_US)
        assert START_US < first_us(path, 1) <= sent_us + 2 * SLOT_US
        store.commit(
            Commit(START_US, None, incidents=[IncidentRecord(incident(START_US, None), "cold", "water")])
        )
        before = first_us(path, 1), first_us(path, 3)
        while len(batch := cursor.next_batch(5000)):
            cursor.settle(batch, {}, START_US)
        let_all_go(upkeep, START_US + 4 * DAY_US)
        assert first_us(path, 1) == before[0]
        # Another tank has no incident.
        assert first_us(path, 3) > before[1] + 12 * HOUR_US


def test_nothing_goes_unless_asked_nor_in_the_first_hour_and_then_an_hour_of_it_a_minute(
    store: Store, path: Path
) -> None:
    fill(store, 3)
    roll_up(store, 3 * DAY)
    now_s = 0.0
    upkeep = Upkeep(store, DAY_US, monotonic=lambda: now_s)
    forever = Upkeep(store, monotonic=lambda: now_s)
    for now_s in range(3599):  # noqa: B007 (their clock)
        upkeep.turn(START_US + 3 * DAY_US)
        forever.turn(START_US + 3 * DAY_US)
    assert first_us(path, 1) == START_US
    for now_s in range(3599, 3599 + 5 * 60):  # noqa: B007
        upkeep.turn(START_US + 3 * DAY_US)
        forever.turn(START_US + 3 * DAY_US)
    assert START_US + 4 * HOUR_US < first_us(path, 1) <= START_US + 5 * HOUR_US


def test_a_reading_from_before_the_time_that_is_kept_leaves_its_minute_alone(
    store: Store, path: Path
) -> None:
    fill(store, 4)
    roll_up(store, 4 * DAY)
    let_all_go(Upkeep(store), START_US + 3 * DAY_US)
    before = [query(path, f"SELECT * FROM {table}") for table in ("minutes", "rollups")]
    store.commit(of(row(0, 601, 30.0)))
    assert [query(path, f"SELECT * FROM {table}") for table in ("minutes", "rollups")] == before


def test_commits_of_which_nothing_is_left_go_a_month_later(store: Store, path: Path) -> None:
    store.commit(
        replace(of(row(0, 1, 25.0), seconds=1), boards=[BoardState("reef", "north", True, START_US)])
    )
    for day in range(50):
        store.commit(of(row(0, DAY * day + 60, 25.0), row(1, DAY * day + 60, 8.0), seconds=DAY * day + 61))
    store.commit(of(row(0, DAY * 49.1, 25.0), seconds=DAY * 49.1))
    record = IncidentRecord(incident(START_US + 5 * DAY_US, START_US + 5 * DAY_US), "cold", "water")
    store.commit(Commit(START_US + 50 * DAY_US, None, incidents=[record]))
    roll_up(store, 50 * DAY)
    let_all_go(Upkeep(store), START_US + 45 * DAY_US)
    numbers = [number for (number,) in query(path, "SELECT no FROM commits ORDER BY no")]
    # The first of all, with which a board came; those near the incident; and what is younger.
    assert numbers[:4] == [1, 6, 7, 17]
    left = {number for (number,) in query(path, "SELECT DISTINCT commit_no FROM readings")}
    assert left <= set(numbers)
