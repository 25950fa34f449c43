"""A survey of many readings: the extremes of each stretch, as counted one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import HOUR_US, MICROSECONDS
from rules.survey import survey

START_US = 1_790_000_000 * MICROSECONDS
QUARTER_US = HOUR_US // 4
steps = st.sampled_from([1, 5, 10, 10, 10, 10, 60, 0, -20, 2000])
numbers = st.one_of(st.floats(-1e6, 1e6), st.sampled_from([0.0, math.inf, -math.inf]))


def columns(pairs):
    times = START_US + np.cumsum([step * MICROSECONDS for step, _ in pairs]).astype(np.int64)
    return times, np.array([value for _, value in pairs])


@settings(max_examples=200)
@given(st.lists(st.tuples(steps, numbers), min_size=25, max_size=300), st.integers(0, 600))
def test_a_survey_tells_what_the_readings_do(pairs, lag):
    times, values = columns(pairs)
    clocks = np.maximum.accumulate(times) + lag * MICROSECONDS - 5 * MICROSECONDS
    found = survey(times, values, clocks)
    if found is None:
        # Too few in a stretch.
        assert len(times) < 8 * (1 + sum(np.diff(times // QUARTER_US) != 0))
        return
    assert [stretch.end for stretch in found.stretches[:-1]] == [one.start for one in found.stretches[1:]]
    assert (found.stretches[0].start, found.stretches[-1].end) == (1, len(times))
    for stretch in found.stretches:
        places = range(stretch.start, stretch.end)
        assert len({int(times[place]) // QUARTER_US for place in places}) == 1
        own = values[stretch.start : stretch.end]
        between = [int(times[place] - times[place - 1]) for place in places]
        moves = [abs(float(values[place]) - float(values[place - 1])) for place in places]
        assert (stretch.low, stretch.high) == (own.min(), own.max())
        assert (stretch.shortest_us, stretch.longest_us) == (min(between), max(between))
        if any(move != move for move in moves):
            assert math.isnan(stretch.greatest_step)
        else:
            assert stretch.greatest_step == max(moves)
    waits = [max(int(times[n]), int(clocks[n])) - int(times[n - 1]) for n in range(1, len(times))]
    assert (found.low, found.high) == (values.min(), values.max())
    assert (found.shortest_us, found.longest_wait_us) == (min(np.diff(times)), max(waits))
    assert found.is_whole


@pytest.mark.parametrize("place", [0, 1, 57, 99])
def test_a_missing_value_leaves_no_survey_whole(place):
    times, values = columns([(10, 25.0)] * 100)
    values[place] = math.nan
    found = survey(times, values, times)
    assert found is not None
    assert not found.is_whole


@pytest.mark.parametrize(("every_s", "is_made"), [(110, True), (112, True), (115, False), (200, False)])
def test_sparse_readings_are_not_surveyed(every_s, is_made):
    """Eight in a quarter of an hour, 900 s, make it worth while."""
    times = START_US // QUARTER_US * QUARTER_US + np.arange(200, dtype=np.int64) * every_s * MICROSECONDS
    assert (survey(times, np.zeros(200), times) is not None) is is_made
