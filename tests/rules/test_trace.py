"""The trace of a series: what a step sees of late, repeated and missing readings, and how much it keeps."""

from __future__ import annotations

import math
import statistics
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.habits import habits_of
from rules.trace import DAY_CELLS, LOOK_BACK_CELLS, MINUTE_US, STEP_US, Trace

CELL = 6_000_000
BEGIN_US = CELL * STEP_US
SECOND_US = 1_000_000


def at(minutes: float) -> int:
    return BEGIN_US + round(minutes * MINUTE_US)


def collect(trace: Trace, readings, *, arrives: float | None = None) -> None:
    """Readings of (minute, value); all arrive at once, or each when it was observed."""
    for minute, value in readings:
        clock = at(minute) if arrives is None else at(arrives)
        trace.collect([at(minute)], [value], [clock], None)


def seen(trace: Trace, step: int) -> list[float | None]:
    """Medians of all cells from the first on as a step sees them; None for a hole."""
    trace.advance(CELL + step)
    known = trace.medians[-step - 1 :]
    return [None if value != value else value for value in known]


def test_a_step_sees_the_median_of_its_cell():
    trace = Trace()
    collect(trace, [(0, 3.0), (1, 1.0), (2, 9.0), (4.999, 2.0)])
    assert seen(trace, 0) == [2.5]


@pytest.mark.parametrize(("minute", "cell"), [(4.99, 0), (5.0, 1), (5.01, 1)], ids=["before", "at", "behind"])
def test_a_reading_at_the_edge_belongs_to_the_cell_that_begins_there(minute, cell):
    trace = Trace()
    collect(trace, [(minute, 7.0)])
    trace.advance(CELL + 1)
    assert trace.last_cell == CELL + cell
    assert trace.medians[cell - 2] == 7.0


def test_nothing_of_a_cell_is_seen_before_its_step():
    trace = Trace()
    collect(trace, [(0, 1.0), (6, 2.0)])
    assert seen(trace, 0) == [1.0]
    assert seen(trace, 1) == [1.0, 2.0]


def test_a_batch_that_comes_late_fills_its_cells_at_the_step_that_is_still_to_come():
    """A board that sends ten minutes at once fills its cells a little late instead of not at all."""
    trace = Trace()
    collect(trace, [(-5, 0.0)])
    trace.advance(CELL - 1)
    trace.advance(CELL)
    trace.advance(CELL + 1)
    collect(trace, [(minute, float(minute)) for minute in range(10)], arrives=12)
    assert math.isnan(trace.medians[-1])
    assert seen(trace, 2) == [2.0, 7.0, None]


def test_a_cell_that_has_been_seen_takes_no_more_readings():
    trace = Trace()
    collect(trace, [(0, 1.0)])
    trace.advance(CELL)
    collect(trace, [(1, 100.0)], arrives=7)
    assert seen(trace, 1)[0] == 1.0


def test_of_a_cell_only_what_its_first_step_sees_counts():
    """Else a median would depend on how many of the late readings had come by a step."""
    trace = Trace()
    collect(trace, [(0, 1.0)])
    collect(trace, [(1, 5.0), (2, 5.0)], arrives=11)
    trace.advance(CELL + 2)
    assert trace.medians[-3] == 1.0


def test_a_hole_is_nan_and_the_newest_cell_is_remembered():
    trace = Trace()
    collect(trace, [(0, 1.0)])
    assert seen(trace, 6) == [1.0, *[None] * 6]
    assert (trace.last_cell, trace.last_us) == (CELL, at(0))


class TestNoise:
    def cell(self, values) -> Trace:
        trace = Trace()
        trace.collect(
            [at(0) + n * SECOND_US for n in range(len(values))], values, [at(0)] * len(values), None
        )
        trace.advance(CELL)
        return trace

    @pytest.mark.parametrize(("count", "is_known"), [(4, False), (5, True), (6, True)])
    def test_it_takes_five_readings(self, count, is_known):
        noise = self.cell([float(n % 2) for n in range(count)]).noises[-1]
        assert (noise == noise) is is_known

    def test_it_is_the_standard_deviation_of_white_noise(self):
        """Half of the steps between values of unit noise are below 0.954 (0.6745 times the root of two)."""
        chance = statistics.NormalDist(0.0, 0.2).samples(299, seed=5)
        assert self.cell(chance).noises[-1] == pytest.approx(0.2, rel=0.2)

    def test_a_slope_is_no_noise_of_any_size(self):
        assert self.cell([0.001 * n for n in range(30)]).noises[-1] < 0.002

    def test_one_odd_reading_is_no_noise(self):
        assert self.cell([1.0, 1.0, 1.0, 50.0, 1.0, 1.0, 1.0]).noises[-1] == 0.0

    def test_the_smallest_step_is_the_last_digit(self):
        assert self.cell([1.0, 1.0625, 1.0625, 1.25]).smallest_steps[-1] == 0.0625
        assert math.isnan(self.cell([1.0, 1.0, 1.0]).smallest_steps[-1])


readings = st.lists(
    st.tuples(st.integers(0, 40), st.floats(-10, 10), st.sampled_from([0, 0, 0, 4, 11, 25])), max_size=40
)


def ordered(drawn):
    """Times that increase strictly, and clocks that do not decrease and are not before the reading."""
    time_us, clock_us, found = BEGIN_US, 0, []
    for minutes, value, lag in drawn:
        time_us += minutes * MINUTE_US + SECOND_US
        clock_us = max(clock_us, time_us + lag * MINUTE_US)
        found.append((time_us, value, clock_us))
    return found


def run(stream, cuts) -> tuple[list[str], list[str], int]:
    """Collect in blocks, with every step as soon as the clock has reached its end."""
    trace = Trace()
    edges = sorted({0, len(stream), *(cut for cut in cuts if cut < len(stream))})
    for start, end in pairwise(edges):
        part = stream[start:end]
        times, values, clocks = (list(column) for column in zip(*part, strict=True))
        trace.collect(times, values, clocks, None)
        last = clocks[-1] // STEP_US
        while (step := trace.next_step()) is not None and step < last:
            trace.advance(max(step, trace.step + 1))
    trace.advance(stream[-1][2] // STEP_US + 6)
    return [repr(v) for v in trace.medians], [repr(v) for v in trace.smallest_steps], trace.last_us


@given(readings, st.lists(st.integers(1, 40), max_size=6))
def test_what_is_seen_does_not_depend_on_the_blocks(drawn, cuts):
    stream = ordered(drawn)
    if not stream:
        return
    whole = run(stream, [])
    assert run(stream, cuts) == whole
    assert run(stream, range(len(stream))) == whole


@given(readings)
def test_every_cell_lies_within_its_readings(drawn):
    stream = ordered(drawn)
    if not stream:
        return
    trace = Trace()
    trace.collect(*(list(column) for column in zip(*stream, strict=True)), None)
    trace.advance(stream[-1][2] // STEP_US + 1)
    for back, median in enumerate(reversed(trace.medians)):
        number = trace.step - back
        inside = [value for time_us, value, _ in stream if time_us // STEP_US == number]
        if median == median:
            assert min(inside) <= median <= max(inside)


@given(st.integers(2, 9), st.sampled_from([1, 7, 50, 300]))
def test_memory_does_not_grow_with_time(days, stride):
    trace = Trace()
    for cell in range(0, days * DAY_CELLS, stride):
        trace.collect([at(5 * cell)], [1.0], [at(5 * cell)], None)
        trace.advance(CELL + cell)
        assert len(trace.medians) == len(trace.noises) == len(trace.smallest_steps)
        assert len(trace.medians) <= LOOK_BACK_CELLS + DAY_CELLS + stride
    assert len(trace.medians) >= min(LOOK_BACK_CELLS, 1 + (days * DAY_CELLS - 1) // stride * stride)


class TestHabits:
    def trace(self, hours: int, value, every: int = 1) -> Trace:
        trace = Trace()
        for minute in range(0, 60 * hours, every):
            trace.collect([at(minute)], [value(minute)], [at(minute)], None)
        trace.advance(CELL + 12 * hours - 1)
        return trace

    def test_a_slow_board_shows_its_interval(self):
        assert habits_of(self.trace(24, float, every=15)).interval_cells == pytest.approx(3.0)

    def test_the_last_digit_is_found_where_a_cell_holds_one_reading(self):
        habits = habits_of(self.trace(24, lambda minute: 25.0 + 0.0625 * (minute // 60 % 2), every=5))
        assert habits.resolution == 0.0625

    @pytest.mark.parametrize(("hours", "is_known"), [(22, False), (23, True), (27, True)])
    def test_the_range_of_a_day_is_known_once_twenty_hours_of_it_are(self, hours, is_known):
        """The day of the range ended three hours ago."""
        habits = habits_of(self.trace(hours, lambda minute: 25.0 + (minute % 10) / 10))
        assert (habits.day_low == habits.day_low) is is_known

    def test_a_fault_of_the_last_three_hours_is_not_usual(self):
        habits = habits_of(self.trace(30, lambda minute: 25.0 if minute < 27 * 60 else 20.0))
        assert (habits.day_low, habits.day_high) == (25.0, 25.0)
