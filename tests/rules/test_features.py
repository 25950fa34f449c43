"""One-minute features: levels, robust slopes against SciPy, the last day's range, and holes."""

from __future__ import annotations

import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from rules.features import LOOK_BACK_MINUTES, MINUTE_US, MinuteGrid, robust_slope

START_MINUTE = 29_000_000
START_US = START_MINUTE * MINUTE_US

levels = st.lists(
    st.one_of(st.just(float("nan")), st.floats(20, 30).map(lambda value: round(value, 3))),
    min_size=12,
    max_size=12,
)


@settings(max_examples=200, deadline=None)
@given(levels, st.sampled_from([1, 2, 5, 16]))
def test_slope_is_that_of_scipy(points, stride):
    """scipy.stats.theilslopes over the points that are there; stride minutes apart, per hour."""
    level = np.full(11 * stride + 1, np.nan)
    level[::stride] = points
    slope = robust_slope(level, np.array([len(level) - 1]), stride)
    known = np.flatnonzero(np.isfinite(points))
    if len(known) < 4:
        assert np.isnan(slope.median[0])
        return
    expected = theilslopes(np.array(points)[known], known * stride / 60.0).slope
    assert slope.median[0] == pytest.approx(expected, abs=1e-9)
    assert slope.low[0] <= slope.median[0] <= slope.high[0]


def test_one_bad_point_does_not_move_the_slope():
    """Nine tenths of the worked vector of facts about Theil-Sen: one wild value among steady ones."""
    level = 8.10 - 0.01 * np.arange(12.0)
    level[5] = 8.90
    slope = robust_slope(level, np.array([11]), 1)
    assert slope.median[0] == pytest.approx(-0.6, abs=0.05)


def grid_of(values, *, every_s: int = 60, baseline=None) -> MinuteGrid:
    grid = MinuteGrid(baseline, None)
    times = [START_US + number * every_s * 1_000_000 for number in range(len(values))]
    grid.collect(times, list(values))
    return grid


def test_a_minute_is_closed_by_the_first_reading_behind_it():
    grid = MinuteGrid(None, None)
    grid.collect([START_US, START_US + 30_000_000], [25.0, 25.2])
    assert grid.rows() is None
    grid.collect([START_US + MINUTE_US], [26.0])
    rows = grid.rows()
    assert rows is not None
    assert rows.times_us.tolist() == [START_US + MINUTE_US]
    assert rows.level.tolist() == [pytest.approx(25.1)]


def test_level_is_the_median_of_five_minutes_so_a_spike_is_not_seen():
    rows = grid_of([25.0, 25.0, 25.0, 99.0, 25.0, 25.0, 25.0]).rows()
    assert rows is not None
    assert rows.level[3:].tolist() == [25.0, 25.0, 25.0]


def test_range_of_the_last_day_leaves_out_the_last_three_hours():
    minutes = 30 * 60
    values = np.full(minutes, 25.0)
    values[-100:] = 20.0
    rows = grid_of([*values, 20.0]).rows()
    assert rows is not None
    low, high = rows.day_range
    assert np.isnan(low[20 * 60])
    assert low[-1] == high[-1] == 25.0


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 40), st.floats(20, 30)), min_size=2, max_size=60),
    st.lists(st.integers(1, 59), max_size=6),
)
def test_rows_do_not_depend_on_how_readings_are_handed_over(steps, cuts):
    times = (START_US + np.cumsum([step for step, _ in steps]) * 30_000_000).tolist()
    values = [value for _, value in steps]
    whole = MinuteGrid(None, None)
    whole.collect(times, values)
    expected = whole.rows()
    grid = MinuteGrid(None, None)
    got: list[tuple[int, float, float]] = []
    edges = sorted({0, len(times), *(cut for cut in cuts if cut < len(times))})
    for start, end in pairwise(edges):
        grid.collect(times[start:end], values[start:end])
        rows = grid.rows()
        if rows is not None:
            got += zip(
                rows.times_us.tolist(), rows.level.tolist(), rows.slope_short.median.tolist(), strict=True
            )
    if expected is None:
        assert not got
        return
    want = zip(
        expected.times_us.tolist(),
        expected.level.tolist(),
        expected.slope_short.median.tolist(),
        strict=True,
    )
    np.testing.assert_array_equal(np.array(got), np.array(list(want)))


@pytest.mark.parametrize("hole", [26 * 60, LOOK_BACK_MINUTES, LOOK_BACK_MINUTES + 1, 90 * 24 * 60])
def test_rows_behind_a_long_hole_are_the_same_in_one_piece_and_in_two(hole):
    before = [START_US + number * MINUTE_US for number in range(30 * 60)]
    after = [before[-1] + (hole + number) * MINUTE_US for number in range(4 * 60)]
    values = (25.0 + 0.01 * np.arange(len(before) + len(after))).tolist()
    whole, parted = MinuteGrid(None, 60 * MINUTE_US), MinuteGrid(None, 60 * MINUTE_US)
    whole.collect(before + after, values)
    parted.collect(before, values[: len(before)])
    first = parted.rows()
    parted.collect(after, values[len(before) :])
    rows, second = whole.rows(), parted.rows()
    assert rows is not None
    assert first is not None
    assert second is not None
    for name in ("level", "day_range"):
        both = np.concatenate((np.atleast_2d(getattr(first, name)), np.atleast_2d(getattr(second, name))), 1)
        np.testing.assert_array_equal(np.atleast_2d(getattr(rows, name)), both)
    for name in ("slope_short", "slope", "slope_long", "rate"):
        both = np.concatenate((getattr(first, name).median, getattr(second, name).median))
        np.testing.assert_array_equal(getattr(rows, name).median, both)


def test_a_hole_of_decades_costs_no_memory():
    """A board without a clock says 1970; the next reading is from today."""
    grid = MinuteGrid(None, None)
    grid.collect([0, MINUTE_US, START_US, START_US + MINUTE_US], [24.0, 24.0, 25.0, 25.0])
    tracemalloc.start()
    rows = grid.rows()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert rows is not None
    assert rows.times_us.tolist() == [MINUTE_US, 2 * MINUTE_US, START_US + MINUTE_US]
    assert peak < 4_000_000


def test_a_hole_longer_than_the_look_back_starts_afresh_and_memory_stays_bounded():
    grid = grid_of(np.full(200, 25.0))
    grid.rows()
    later = START_US + 10 * LOOK_BACK_MINUTES * MINUTE_US
    grid.collect([later, later + MINUTE_US], [20.0, 20.0])
    rows = grid.rows()
    assert rows is not None
    assert rows.level[-1] == 20.0
    assert len(grid._values) <= LOOK_BACK_MINUTES
