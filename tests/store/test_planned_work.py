"""Planned work in the store: which works were known from which commit on, for restart and baselines."""

from __future__ import annotations

from collector.store import Commit, Store, StoreReader
from rules import PlannedWork
from tests.store.commits import SECOND, SERIES, START_US, of, row

HOUR = 3600


def work(kind: str, from_s: int, to_s: int, tank: str = "reef") -> PlannedWork:
    return PlannedWork(tank, kind, START_US + from_s * SECOND, START_US + to_s * SECOND)


CHANGE = work("water_change", 1 * HOUR, 2 * HOUR)
PAUSE = work("feeding_pause", 5 * HOUR, 6 * HOUR)


def plan(store: Store, *works: PlannedWork, seconds: int = 0) -> int:
    now_us = START_US + seconds * SECOND
    return store.commit(Commit(now_us, now_us, planned_work=works)).number


def recorded(reader: StoreReader, from_us: int = 0) -> list[tuple[int, tuple[PlannedWork, ...] | None]]:
    ids = [reader.series_id(one.tank, one.name) for one in SERIES]
    return [(block.number, block.planned_work) for block in reader.recorded_blocks(ids, from_us)]


def test_what_is_known_is_what_was_told_last(store: Store, reader: StoreReader) -> None:
    assert reader.known_works() == ()
    plan(store, PAUSE, CHANGE)
    assert reader.known_works() == (CHANGE, PAUSE)
    plan(store, CHANGE)
    assert reader.known_works() == (CHANGE,)
    plan(store)
    assert reader.known_works() == ()


def test_each_recorded_block_bears_the_works_only_where_they_changed(
    store: Store, reader: StoreReader
) -> None:
    store.commit(of(row(0, 0, 25.0)))
    plan(store, CHANGE)
    store.commit(of(row(0, 10, 25.0)))
    plan(store, CHANGE, PAUSE)
    plan(store, PAUSE)
    plan(store)
    assert recorded(reader) == [
        (1, ()),
        (2, (CHANGE,)),
        (3, None),
        (4, (CHANGE, PAUSE)),
        (5, (PAUSE,)),
        (6, ()),
    ]


def test_works_told_before_the_look_back_come_with_its_first_commit(
    store: Store, reader: StoreReader
) -> None:
    plan(store, CHANGE)
    store.commit(of(row(0, 0, 25.0)))
    store.commit(of(row(0, 100, 25.0)))
    assert recorded(reader, START_US + 50 * SECOND) == [(3, (CHANGE,))]


def test_works_are_known_again_although_no_reading_lies_in_the_look_back(
    store: Store, reader: StoreReader
) -> None:
    plan(store, CHANGE)
    assert recorded(reader) == [(1, (CHANGE,))]


def test_a_work_counts_for_the_past_unless_it_was_withdrawn_before_its_end(
    store: Store, reader: StoreReader
) -> None:
    late = work("calibration", 1 * HOUR, 3 * HOUR)
    plan(store, CHANGE, PAUSE, late, work("water_change", HOUR, 2 * HOUR, "nursery"))
    # Forgotten behind its end, called off before it, and cut short.
    short = work("calibration", 1 * HOUR, 2 * HOUR)
    plan(store, short, seconds=2 * HOUR)
    assert reader.works("reef", START_US, START_US + 10 * HOUR * SECOND) == (CHANGE, short)
    assert reader.works("reef", START_US, CHANGE.from_us) == ()
    assert reader.works("reef", CHANGE.from_us, CHANGE.from_us + 1) == (CHANGE, short)
    assert reader.works("reef", CHANGE.to_us, CHANGE.to_us + 1) == ()
