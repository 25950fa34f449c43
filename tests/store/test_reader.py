"""What a reader gives: ranges, newest readings, recorded inputs in commit order, and its own view."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.readings import Mark
from collector.store import BoardState, Commit, Store, StoredSeries, StoreReader
from rules import Flag
from tests.store.commits import SECOND, SERIES, START_US, of, query, row


def test_range_holds_its_start_and_not_its_end(store: Store, reader: StoreReader) -> None:
    store.commit(of(*(row(0, at, 20.0 + at) for at in range(5))))
    found = reader.readings(1, START_US + SECOND, START_US + 3 * SECOND)
    assert found.times_us.tolist() == [START_US + SECOND, START_US + 2 * SECOND]
    assert found.values.tolist() == [21.0, 22.0]


def test_readings_come_in_order_of_time_whenever_they_came(store: Store, reader: StoreReader) -> None:
    store.commit(of(row(0, 9, 3.0, flag=Flag.SUSPECT), row(0, 1, 1.0)))
    store.commit(of(row(0, 5, float("nan"), flag=Flag.MISSING, mark=Mark.LATE)))
    times, values, flags = reader.readings(1, 0, 2**62)
    assert times.dtype == np.int64
    assert flags.dtype == np.uint8
    assert times.tolist() == [START_US + at * SECOND for at in (1, 5, 9)]
    np.testing.assert_array_equal(values, [1.0, np.nan, 3.0])
    assert flags.tolist() == [1, 9, 3]


def test_values_come_back_bit_for_bit(store: Store, reader: StoreReader) -> None:
    numbers = [0.0, 1.0, 5e-324, 1.7e308, -3.0, *np.random.default_rng(3).normal(25, 1, 1000).tolist()]
    store.commit(of(*(row(0, at, value) for at, value in enumerate(numbers))))
    assert reader.readings(1, 0, 2**62).values.tolist() == numbers


def test_series_are_listed_and_found_by_name(reader: StoreReader) -> None:
    assert reader.series_list() == (
        StoredSeries(3, "nursery", "temperature", "temperature"),
        StoredSeries(2, "reef", "ph", "ph"),
        StoredSeries(1, "reef", "temperature", "temperature"),
    )
    assert reader.series_id("reef", "ph") == 2
    with pytest.raises(KeyError, match="reef/redox"):
        reader.series_id("reef", "redox")


def test_latest_is_the_newest_observed_not_the_last_stored(store: Store, reader: StoreReader) -> None:
    assert reader.latest() == ()
    store.commit(of(row(0, 9, 25.9), row(1, 1, 8.1)))
    store.commit(of(row(0, 5, 25.5, mark=Mark.LATE), row(1, 2, float("nan"), flag=Flag.MISSING)))
    found = [(one.series.name, one.observed_us - START_US, one.value, one.flag) for one in reader.latest()]
    assert found == [("ph", 2 * SECOND, None, 9), ("temperature", 9 * SECOND, 25.9, 1)]


def test_reader_cannot_write(reader: StoreReader) -> None:
    with pytest.raises(Exception, match="readonly database"):
        reader._connection.execute("DELETE FROM series")


def test_reader_serves_many_threads_while_the_writer_writes(store: Store, reader: StoreReader) -> None:
    problems: list[object] = []
    stop = threading.Event()

    def look() -> None:
        while not stop.is_set():
            seen = len(reader.readings(1, 0, 2**62).values)
            if seen % 10 or len(reader.readings(1, 0, 2**62).values) < seen:
                problems.append(seen)

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for number in range(60):
        store.commit(of(*(row(0, 10 * number + at, 1.5) for at in range(10))))
    stop.set()
    for thread in threads:
        thread.join()
    assert problems == []
    assert len(reader.readings(1, 0, 2**62).values) == 600


def test_recorded_blocks_are_the_commits_in_their_order(store: Store, reader: StoreReader) -> None:
    board = BoardState("reef", "north", False, START_US)
    store.commit(of(row(0, -100, 1.0), seconds=-99))  # before the look-back
    store.commit(
        of(row(1, 10.5, 8.1), row(2, 10, 24.0), row(0, 10, 25.0), row(0, 11, float("nan")), seconds=13)
    )
    store.commit(Commit(START_US + 14 * SECOND, None, rows=[row(0, 5, 24.9, mark=Mark.LATE)]))
    store.commit(replace(of(seconds=20), boards=[board]))
    store.commit(of(row(0, 10, 26.0), row(0, 30, 25.3), seconds=31))  # a conflict and a new one
    found = list(reader.recorded_blocks((1, 2), START_US))
    assert [one.number for one in found] == [2, 3, 4, 5]
    engine_times = [START_US + 13 * SECOND, None, START_US + 20 * SECOND, START_US + 31 * SECOND]
    assert [one.engine_us for one in found] == engine_times
    assert [((one.block.times_us - START_US) / 1e6).tolist() for one in found] == [
        [10, 10.5, 11],
        [5],
        [],
        [30],
    ]
    assert [one.block.series.tolist() for one in found] == [[0, 1, 0], [0], [], [0]]
    np.testing.assert_array_equal(found[0].block.values, [25.0, 8.1, np.nan])
    assert [one.marks.tolist() for one in found] == [[0, 0, 0], [8], [], [0]]
    assert [one.boards for one in found] == [(), (), (board,), ()]


def test_recorded_blocks_order_readings_of_one_instant_by_configured_series(
    store: Store, reader: StoreReader
) -> None:
    store.commit(of(row(0, 1, 1.0), row(1, 1, 2.0), row(2, 1, 3.0)))
    (block,) = reader.recorded_blocks((3, 2, 1), START_US)
    assert block.block.values.tolist() == [3.0, 2.0, 1.0]


def test_recorded_blocks_of_an_empty_store_are_none(reader: StoreReader) -> None:
    assert list(reader.recorded_blocks((1, 2), 0)) == []
    assert list(reader.recorded_blocks((), 0)) == []


def test_last_engine_time_passes_over_backlog(store: Store, reader: StoreReader) -> None:
    assert reader.last_engine_us is None
    store.commit(Commit(1000, 900))
    store.commit(Commit(2000, None))
    assert reader.last_engine_us == 900


WEEK = 6 * 7 * 8640


def test_week_of_six_series_stays_within_its_bytes(path: Path) -> None:
    """Six series every 10 s, noise of three decimals, a commit per round, on their way under 128 ms.

    34 bytes a reading in the readings table, 38 in the whole file, are this project's own bounds.
    """
    chance = np.random.default_rng(5)
    series = tuple(replace(SERIES[0], name=f"probe_{number}") for number in range(6))
    with Store(path, synchronous="OFF") as store:
        store.register(series)
        for number in range(WEEK // 6):
            jitter = chance.uniform(0, 1, 6).tolist()
            numbers = chance.normal(25, 0.2, 6).round(3).tolist()
            store.commit(
                of(
                    *(row(k, 10 * number + jitter[k], numbers[k], delay_ms=20 * k + 5) for k in range(6)),
                    seconds=10 * number + 1.2,
                )
            )
    size = path.stat().st_size / WEEK
    assert query(path, "SELECT count(*) FROM readings") == [(WEEK,)]
    (pages,) = query(path, "SELECT sum(pgsize) FROM dbstat WHERE name = 'readings'")[0]
    assert pages / WEEK <= 34
    assert size <= 38
