"""Rollups follow the readings under any sequence of commits; buckets equal numpy on the readings."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, product
from math import isnan
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.store import SLOT_US, Commit, Row, Store, StoreReader
from rules import Flag, FlagRevised
from tests.store.commits import (
    SECOND,
    SERIES,
    START_US,
    assert_rollups_match_readings,
    of,
    query,
    roll_up,
    row,
)

SLOT = SLOT_US // 1_000_000
DAY = 86_400
MINUTE_US = 60 * SECOND

# A small grid of keys, so that duplicates, conflicts and late readings are common, and values whose
# sums are not exact.
seconds = st.sampled_from([-SLOT, -1, 0, 1, 450, SLOT - 1e-6, SLOT, SLOT + 1, 3 * SLOT])
values = st.sampled_from([25.0, 25.1, -1e9, 1e-3, float("nan"), float("inf"), float("-inf")])
rows = st.builds(
    lambda series, at, value, flag, tests: row(series, at, value, flag=flag, tests=tests),
    st.integers(0, 2),
    seconds,
    values,
    st.sampled_from(Flag),
    st.sampled_from([0, 0x30]),
)
commits = st.tuples(
    st.lists(rows, max_size=12),
    st.lists(st.tuples(st.integers(0, 30), st.sampled_from([Flag.SUSPECT, Flag.FAIL])), max_size=2),
    st.none() | st.sampled_from([0, SLOT, 2 * SLOT, 6 * SLOT]),
)


class Model:
    """The rules of the store in a dict: the first value of a key stays, verdicts change flags."""

    def __init__(self) -> None:
        self.readings: dict[tuple[int, int], tuple[float | None, int]] = {}
        self.conflicts: set[tuple[int, int, float | None]] = set()

    def commit(self, batch: Commit) -> tuple[int, int, int]:
        inserted = conflicts = 0
        for series, observed_us, value, flag, *_ in batch.rows:
            key = (series + 1, observed_us)
            stored = None if isnan(value) else value
            if key not in self.readings:
                self.readings[key] = (stored, flag)
                inserted += 1
            elif self.readings[key][0] != stored and (*key, stored) not in self.conflicts:
                self.conflicts.add((*key, stored))
                conflicts += 1
        for one in batch.revised:
            key = (one.series + 1, one.observed_us)
            self.readings[key] = (self.readings[key][0], one.primary)
        return inserted, len(batch.rows) - inserted - conflicts, conflicts


@settings(max_examples=80, deadline=None)
@given(st.lists(commits, min_size=1, max_size=6))
def test_any_sequence_of_commits_keeps_rollups_in_step(
    plan: Sequence[tuple[list[Row], list[tuple[int, Flag]], int | None]],
) -> None:
    model = Model()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "store.sqlite")
        with Store(path, synchronous="OFF") as store:
            store.register(SERIES)
            for block, verdicts, rolled_s in plan:
                known = sorted({*model.readings, *((one[0] + 1, one[1]) for one in block)})
                revised = [
                    FlagRevised(
                        known[place % len(known)][0] - 1, known[place % len(known)][1], int(flag), 0x400
                    )
                    for place, flag in verdicts
                    if known
                ]
                batch = replace(of(*block), revised=revised)
                assert store.commit(batch)[1:] == model.commit(batch)
                if rolled_s is not None:
                    roll_up(store, rolled_s)
                assert_rollups_match_readings(path)
        stored = query(path, "SELECT series, observed_us, value, flag_mark & 15 FROM readings")
        assert {(series, at): (value, flag) for series, at, value, flag in stored} == model.readings
        assert set(query(path, "SELECT series, observed_us, value FROM conflicts")) == model.conflicts


def test_sum_that_is_no_number_does_not_stop_the_store(store: Store, reader: StoreReader) -> None:
    huge = 1.7e308
    for at, value in enumerate((huge, huge, -huge, 1.0)):
        assert store.commit(of(row(0, at, value))).inserted == 1
    roll_up(store, 2 * DAY)
    store.commit(of(row(0, 0, huge), row(0, 5, 1.0)))
    assert reader.buckets(1, START_US, START_US + 3 * DAY * 1_000_000, 2000).counts.sum() == 5
    buckets = reader.buckets(1, START_US, START_US + 3 * DAY * 1_000_000, 4)
    assert buckets.counts[0] == 5
    assert buckets.high[0] == huge


@pytest.mark.parametrize(
    ("at", "slot"),
    [(-1e-6, -1), (0, 0), (1e-6, 0), (SLOT - 1e-6, 0), (SLOT, 1), (SLOT + 1e-6, 1)],
)
def test_reading_belongs_to_the_quarter_hour_that_begins_with_it(
    store: Store, path: Path, at: float, slot: int
) -> None:
    start_us = START_US // SLOT_US * SLOT_US
    store.commit(of(row(0, (start_us - START_US) / 1e6 + at, 25.0)))
    roll_up(store, DAY)
    assert query(path, "SELECT slot_us FROM rollups") == [(start_us + slot * SLOT_US,)]


def noise(count: int, step: float) -> list[Row]:
    """Uneven times with gaps, a few flags of each kind, a few NaN."""
    chance = np.random.default_rng(7)
    times = np.cumsum(chance.uniform(0.5, 1.5, count) * step) + np.where(
        np.arange(count) > count // 2, 9e3, 0
    )
    series_values = np.where(chance.random(count) < 0.02, np.nan, 25 + chance.normal(0, 0.2, count))
    flags = chance.choice([1, 2, 3, 4, 9], count, p=[0.9, 0.02, 0.03, 0.03, 0.02])
    return [
        row(0, at, value, flag=Flag(flag))
        for at, value, flag in zip(times.tolist(), series_values.tolist(), flags.tolist(), strict=True)
    ]


def usable(stored: Sequence[Row]) -> tuple[np.ndarray, np.ndarray]:
    kept = [one for one in stored if one[3] not in (4, 9) and not isnan(one[2])]
    return np.array([one[1] for one in kept]), np.array([one[2] for one in kept])


def assert_buckets_equal_numpy(
    reader: StoreReader, stored: Sequence[Row], start: int, end: int, count: int, slot_us: int = SLOT_US
) -> int:
    """Each bucket against a mask of its own over all readings; returns how many buckets there are."""
    times, numbers = usable(stored)
    found = reader.buckets(1, start, end, count)
    limit = end if end - start <= 2 * DAY * 1_000_000 else -(-end // slot_us) * slot_us
    edges = [*found.starts_us.tolist(), limit]
    assert len(set(np.diff(edges[:-1]).tolist())) <= 1
    for place, (begin, behind) in enumerate(pairwise(edges)):
        inside = numbers[(times >= begin) & (times < min(behind, limit))]
        assert found.counts[place] == len(inside)
        if len(inside):
            assert found.low[place] == inside.min()
            assert found.high[place] == inside.max()
            assert found.mean[place] == pytest.approx(inside.mean(), rel=1e-12)
        else:
            assert np.isnan([found.low[place], found.mean[place], found.high[place]]).all()
    return len(found.starts_us)


@pytest.mark.parametrize("count", [1, 7, 200, 5000])
@pytest.mark.parametrize("span", [600, DAY, 2 * DAY])
def test_buckets_up_to_two_days_equal_numpy_on_the_readings(
    store: Store, reader: StoreReader, span: int, count: int
) -> None:
    stored = noise(3000, 60)
    store.commit(of(*stored))
    start = START_US + 1234
    number = assert_buckets_equal_numpy(reader, stored, start, start + span * 1_000_000, count)
    assert number == count


@pytest.mark.parametrize("rolled", [0, 12 * DAY, 40 * DAY])
def test_buckets_of_longer_ranges_equal_numpy_on_whole_quarter_hours(
    store: Store, reader: StoreReader, rolled: int
) -> None:
    """Rolled up not at all, in part, or all of it: the answer is the same."""
    stored = noise(3000, 900)
    store.commit(of(*stored))
    roll_up(store, rolled)
    for span, count in product([4 * DAY, 5.3 * DAY, 30 * DAY], [1, 7, 150, 500]):
        start, end = START_US + 1234, START_US + 1234 + round(span * SECOND)
        assert assert_buckets_equal_numpy(reader, stored, start, end, count) <= count
        starts = reader.buckets(1, start, end, count).starts_us
        assert (starts % SLOT_US == 0).all()
        assert starts[0] <= start < starts[0] + SLOT_US


@pytest.mark.parametrize("rolled", [2 * DAY, 40 * DAY])
def test_finer_buckets_of_longer_ranges_are_whole_minutes(
    store: Store, reader: StoreReader, rolled: int
) -> None:
    stored = noise(6000, 40)
    store.commit(of(*stored))
    roll_up(store, rolled)
    start, end = START_US + 1234, START_US + round(2.5 * DAY * SECOND)
    number = assert_buckets_equal_numpy(reader, stored, start, end, 1000, MINUTE_US)
    assert number == 900
    assert (reader.buckets(1, start, end, 1000).starts_us % MINUTE_US == 0).all()


def test_buckets_of_an_empty_store_are_empty(reader: StoreReader) -> None:
    for span in (DAY, 10 * DAY):
        found = reader.buckets(1, START_US, START_US + span * 1_000_000, 10)
        assert found.counts.tolist() == [0] * len(found.starts_us)


@pytest.mark.parametrize(("end", "count"), [(START_US, 10), (START_US - 1, 10), (START_US + 1, 0)])
def test_buckets_of_nothing_are_a_wrong_call(reader: StoreReader, end: int, count: int) -> None:
    with pytest.raises(ValueError, match="no buckets"):
        reader.buckets(1, START_US, end, count)
