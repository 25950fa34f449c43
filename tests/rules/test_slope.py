"""The robust slope against scipy and published examples, and against sensors that speak in steps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rules import HOUR_US, Block, Engine, EngineRules, Priority, RateAlarm, SeriesRules, TankRules
from rules.events import AlarmRaised
from rules.habits import UNKNOWN as NO_HABITS
from rules.habits import habits_of
from rules.look import Look
from rules.slope import UNKNOWN, robust_slope
from rules.trace import MINUTE_US, STEP_US, Trace

BEGIN_US = 1_790_000_100 * 1_000_000


@given(st.lists(st.floats(-100, 100), min_size=4, max_size=13), st.floats(0.05, 4.0))
def test_it_is_the_slope_of_scipy(values, hours_apart):
    expected = stats.theilslopes(values, np.arange(len(values)) * hours_apart)
    slope = robust_slope(values, hours_apart)
    assert slope.median == pytest.approx(expected.slope, rel=1e-9, abs=1e-9)
    assert slope.low <= slope.median <= slope.high


@given(st.lists(st.floats(-100, 100) | st.just(math.nan), min_size=4, max_size=13))
def test_holes_are_left_out_as_if_scipy_had_never_seen_them(values):
    known = [(place, value) for place, value in enumerate(values) if value == value]
    slope = robust_slope(values, 1.0)
    if len(known) < 4 or known[-1][0] - known[0][0] < len(values) // 2:
        assert slope == UNKNOWN or math.isnan(slope.median)
        return
    places, seen = zip(*known, strict=True)
    assert slope.median == pytest.approx(stats.theilslopes(seen, places).slope, rel=1e-9, abs=1e-9)


def test_one_odd_value_moves_it_by_nothing():
    """pH of ten readings with one of 8.90 among them: -0.0100 a step, where least squares give -0.00485.

    Computed with scipy.
    """
    values = [8.10, 8.09, 8.10, 8.07, 8.06, 8.90, 8.05, 8.03, 8.03, 8.01]
    assert robust_slope(values, 1.0).median == pytest.approx(-0.0100, abs=1e-9)
    assert stats.linregress(range(10), values).slope == pytest.approx(-0.00485, abs=1e-5)


def test_the_example_of_sen():
    """Sen (1968), J. Am. Stat. Assoc. 63: y of 9 to 78 at t = 1 2 3 4 10 12 18 has the slope 4."""
    values = [math.nan] * 18
    for time, value in zip((1, 2, 3, 4, 10, 12, 18), (9, 15, 19, 20, 45, 55, 78), strict=True):
        values[time - 1] = float(value)
    assert robust_slope(values, 1.0).median == 4.0


@pytest.mark.parametrize(("known", "is_known"), [(3, False), (4, True), (5, True)])
def test_fewer_than_six_pairs_are_no_slope(known, is_known):
    assert robust_slope([float(n) for n in range(known)], 1.0).is_known is is_known


def look_at(values, every_us: int = MINUTE_US) -> Look:
    """The look at the step behind the last of these values."""
    times = [BEGIN_US + place * every_us for place in range(len(values))]
    trace = Trace()
    trace.collect(times, [float(value) for value in values], times, None)
    step = times[-1] // STEP_US
    trace.advance(step)
    habits = habits_of(trace) if len(values) > 60 else NO_HABITS
    return Look(SeriesRules("reef", "temperature", "temperature"), trace, step, None, habits)


def stepped(values, digit: float):
    return np.round(np.asarray(values) / digit) * digit


class TestSteadySlope:
    minutes = np.arange(26 * 60)

    def falling(self, per_hour: float, for_minutes: int, noise: float = 0.01):
        rng = np.random.default_rng(3)
        fallen = np.maximum(0, self.minutes - (26 * 60 - for_minutes)) * per_hour / 60
        return 25.0 + fallen + noise * rng.standard_normal(len(self.minutes))

    def test_a_fast_fall_is_told_from_half_an_hour(self):
        look = look_at(self.falling(-3.0, 30))
        assert look.steady_slope() == look.slope(30)
        assert look.steady_slope().median == pytest.approx(-3.0, rel=0.1)

    def test_a_slow_fall_needs_three_hours(self):
        look = look_at(self.falling(-0.02, 200))
        assert look.steady_slope() == look.slope(180)
        assert look.steady_slope().median == pytest.approx(-0.02, rel=0.2)

    def test_still_water_has_no_slope(self):
        assert not look_at(self.falling(0.0, 0)).steady_slope().is_known

    def test_the_last_digit_of_a_coarse_sensor_is_no_slope(self):
        """One step of 0.0625 degC within the hour, as a 12 bit digital thermometer makes it."""
        values = stepped(25.0 + 0.03 * (self.minutes >= 26 * 60 - 25), 0.0625)
        values[::7] += 0.0625
        look = look_at(values)
        assert look.habits.resolution == 0.0625
        assert not look.steady_slope().is_known
        assert not look.is_distinct(60)

    def test_a_coarse_sensor_that_really_falls_has_one(self):
        look = look_at(stepped(self.falling(-0.5, 120, noise=0.0), 0.0625))
        assert look.steady_slope().is_known
        assert look.steady_slope().median == pytest.approx(-0.5, rel=0.25)


def rung(values, *, window_us: int, per_hour: float) -> list[str]:
    alarm = RateAlarm(per_hour, window_us, 0, 5 * MINUTE_US, Priority.LOW)
    rules = EngineRules(
        (TankRules("reef"),), (SeriesRules("reef", "temperature", "temperature", rate_alarm=alarm),)
    )
    times = BEGIN_US + np.arange(len(values), dtype=np.int64) * MINUTE_US
    block = Block(times, np.asarray(values, float), np.zeros(len(values), np.int64))
    return [
        event.alarm.cause for event in Engine(rules).advance(block).events if isinstance(event, AlarmRaised)
    ]


@pytest.mark.parametrize("seed", range(5))
def test_a_coarse_sensor_in_still_water_never_changes_fast(seed):
    """12 bits, 0.0625 degC: within twenty minutes one digit alone is 0.19 degC/h."""
    rng = np.random.default_rng(seed)
    hours = np.arange(3 * 24 * 60) / 60
    truth = 25.0 + 0.15 * np.sin(hours / 0.25) * (rng.random() + 0.5) / 5 + 0.1 * np.sin(hours / 3.8)
    values = stepped(truth + 0.01 * rng.standard_normal(len(hours)), 0.0625)
    assert "changing_fast" not in rung(values, window_us=20 * MINUTE_US, per_hour=0.15)


def test_a_coarse_sensor_rings_where_the_water_really_changes():
    minutes = np.arange(26 * 60)
    values = stepped(25.0 + np.maximum(0, minutes - 25 * 60) / 60 * 1.5, 0.0625)
    assert "changing_fast" in rung(values, window_us=HOUR_US // 2, per_hour=1.0)
