"""Which stretches does a test take at once? Just those that all of it passes, by its limit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rules import (
    MICROSECONDS,
    AttenuatedSignalLimits,
    FlatLineLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
)
from rules.quality.attenuated_signal import attenuated_signal
from rules.quality.flat_line import FlatLine
from rules.quality.rate_of_change import RateOfChange
from rules.quality.spike import Spike
from rules.quality.suite import QualitySuite
from rules.survey import survey

SECOND = MICROSECONDS
EVERY_US = 10 * SECOND
GAP_US = 60 * SECOND
# A quarter of an hour begins here.
START_US = 1_790_000_100 * SECOND


def quiet(count: int = 60, step: float = 0.125) -> tuple[list[int], list[float]]:
    """Up and down by one step, exact in binary."""
    return [START_US + n * EVERY_US for n in range(count)], [25.0 + step * (n % 2) for n in range(count)]


def takes(test, times_us, values, known: int = 2) -> bool:
    """Whether a test takes the rest of these readings, of which it knows the first."""
    times, column = np.array(times_us), np.array(values)
    (stretch,) = survey(times, column, times).stretches
    for place in range(known):
        elapsed_us = times_us[place] - times_us[place - 1] if place else 0
        test.judge(times_us[place], values[place], elapsed_us)
    return test.passes(times_us, values, stretch._replace(start=known))


@pytest.mark.parametrize("method", ["average", "differential"])
@pytest.mark.parametrize(("step", "is_taken"), [(0.124, True), (0.125, True), (0.126, False)])
def test_spike(method, step, is_taken):
    # A mean of neighbours is rounded, so that the very limit is left to be judged singly.
    limit = 0.125 if method == "differential" else 0.125 + 1e-12
    assert takes(Spike(SpikeLimits(limit, None, method), GAP_US), *quiet(step=step)) is is_taken


@pytest.mark.parametrize(("rate", "is_taken"), [(44.99, False), (45.0, True), (45.01, True)])
def test_rate_of_change(rate, is_taken):
    """0.125 in ten seconds are 45 an hour."""
    assert takes(RateOfChange(RateOfChangeLimits(rate), GAP_US), *quiet()) is is_taken


def test_a_rate_by_the_spread_is_judged_singly():
    assert not takes(RateOfChange(RateOfChangeLimits(1000.0, 5.0), GAP_US), *quiet())


@pytest.mark.parametrize(("tolerance", "is_taken"), [(0.124, True), (0.125, False), (0.126, False)])
def test_flat_line_takes_what_moves(tolerance, is_taken):
    test = FlatLine(FlatLineLimits(tolerance, 20 * GAP_US, 40 * GAP_US), GAP_US)
    assert takes(test, *quiet()) is is_taken


@pytest.mark.parametrize(("suspect_s", "is_taken"), [(579, False), (580, False), (581, True)])
def test_flat_line_takes_nothing_that_could_be_flat(suspect_s, is_taken):
    """The last of sixty readings comes 580 s behind the second, where it moved last."""
    test = FlatLine(FlatLineLimits(0.01, suspect_s * SECOND, 2 * suspect_s * SECOND), GAP_US)
    times_us, values = quiet()
    values[2:40] = [values[1]] * 38
    assert takes(test, times_us, values) is is_taken


@pytest.mark.parametrize(("low", "is_taken"), [(25.0, True), (25.01, False)])
def test_attenuated_signal_takes_what_the_sensor_can_show(low, is_taken):
    test = attenuated_signal(AttenuatedSignalLimits(3600 * SECOND, 0.1, fewest=2), GAP_US, (low, 60.0))
    times_us, values = quiet()
    assert takes(test, times_us, [25.0, 25.2, *values[2:]], 12) is is_taken


@pytest.mark.parametrize(("gap_us", "is_taken"), [(20 * SECOND, True), (20 * SECOND - 1, False)])
def test_no_test_takes_a_gap(gap_us, is_taken):
    times_us, values = quiet()
    times_us = [*times_us[:30], *(time_us + EVERY_US for time_us in times_us[30:])]
    for test in (
        Spike(SpikeLimits(1.0, 2.0), gap_us),
        RateOfChange(RateOfChangeLimits(1000.0), gap_us),
        FlatLine(FlatLineLimits(0.01, 20 * GAP_US, 40 * GAP_US), gap_us),
        attenuated_signal(AttenuatedSignalLimits(3600 * SECOND, 0.1, fewest=2), gap_us),
    ):
        assert takes(test, times_us, values, 12) is is_taken


@pytest.mark.parametrize(
    ("value", "flag"), [(25.5, 1), (26.0, 1), (26.1, 3), (60.1, 4), (math.inf, 4)], ids=str
)
def test_one_reading_beyond_the_bounds_is_found_in_a_stretch(value, flag):
    rules = SeriesRules("reef", "x", "temperature", gross_range=GrossRangeLimits(-5.0, 60.0, 20.0, 26.0))
    times_us, values = quiet()
    values[40] = value
    times, column = np.array(times_us), np.array(values)
    verdicts = QualitySuite(rules).judge(times_us, values, survey(times, column, times))
    assert verdicts.primary == [1] * 40 + [flag] + [1] * 19
