"""What a fault sees: held values, freshness, levels and slopes, and what three days show by the hour."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import Band, SeriesRules, TankRules
from rules.habits import habits_of
from rules.hours import LIMIT, PERIODS, Hours
from rules.look import Look, TankLook
from rules.trace import HOUR_CELLS, MINUTE_US, STEP_US, Trace

CELL = 6_000_000
RULES = SeriesRules("reef", "temperature", "temperature")


class Course:
    """A baseline with a day of its own: a wave of `swing` about 25, in a band of +/- 0.3."""

    def __init__(self, swing: float = 0.0) -> None:
        self.swing = swing

    def band_at(self, time_us: int) -> Band:
        centre = 25.0 + self.swing * math.sin(time_us / (24 * 12 * STEP_US) * 2 * math.pi)
        return Band(centre - 0.3, centre, centre + 0.3)

    def expect(self, times_us):
        raise NotImplementedError


def trace_of(cells: dict[int, float], until: int) -> Trace:
    """One reading in each of these cells, seen to a step."""
    trace = Trace()
    for cell, value in sorted(cells.items()):
        time_us = (CELL + cell) * STEP_US + MINUTE_US
        trace.collect([time_us], [value], [time_us], None)
    trace.advance(CELL + until)
    return trace


def look_of(cells: dict[int, float], until: int, baseline: Course | None = None) -> Look:
    trace = trace_of(cells, until)
    return Look(RULES, trace, CELL + until, baseline, habits_of(trace))


def every(cells: int, count: int, value: float = 25.0) -> dict[int, float]:
    return {cells * place: value for place in range(count)}


# -- now ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("late", "is_held"), [(0, True), (2, True), (3, False)], ids=["now", "ten minutes", "a quarter"]
)
def test_a_value_is_held_for_ten_minutes(late, is_held):
    look = look_of(every(1, 100), 99 + late)
    assert (look.value == 25.0) is is_held
    assert look.is_known is is_held
    assert look.age_us == late * STEP_US


@pytest.mark.parametrize(("late", "is_held"), [(11, True), (12, True), (13, False)])
def test_a_slow_series_is_held_for_two_of_its_intervals(late, is_held):
    look = look_of(every(6, 100), 99 * 6 + late)
    assert look.habits.interval_cells == pytest.approx(6, abs=0.3)
    assert look.is_known is is_held


@pytest.mark.parametrize(("late", "is_fresh"), [(0, True), (1, False), (2, False)])
def test_of_a_quick_series_only_the_newest_cell_is_fresh(late, is_fresh):
    assert look_of(every(1, 300), 299 + late).is_fresh is is_fresh


@pytest.mark.parametrize(("late", "is_fresh"), [(5, True), (6, True), (7, False)])
def test_a_slow_series_is_fresh_until_its_next_reading_is_overdue(late, is_fresh):
    assert look_of(every(6, 100), 99 * 6 + late).is_fresh is is_fresh


def test_nothing_known_is_never_a_symptom():
    look = look_of({0: 25.0}, 50)
    assert not look.is_known
    assert look.band is None
    for answer in (
        look.value,
        look.above_usual(),
        look.below_usual(),
        look.change(60),
        look.slope(60).median,
    ):
        assert not answer < 0
        assert not answer > 0


def test_a_value_beyond_the_band_is_told_by_how_much():
    look = look_of({**every(1, 100), 99: 25.8}, 99, Course())
    assert look.above_usual() == pytest.approx(0.5)
    assert look.below_usual() == pytest.approx(-1.1)


# -- the past ----------------------------------------------------------------------------------------


def test_a_level_is_the_median_of_its_stretch():
    look = look_of({**every(1, 30), 27: 10.0, 28: 26.0, 29: 26.0}, 29)
    assert look.level(15) == 26.0
    assert look.level(15, 15) == 25.0
    assert look.change(60) == 1.0
    assert math.isnan(look.level(15, 600))


def test_a_slope_that_was_asked_for_twice_is_computed_once():
    look = look_of({cell: 25.0 + 0.01 * cell for cell in range(60)}, 59)
    assert look.slope(60) is look.slope(60)
    assert look.slope(60).median == pytest.approx(0.12)


@given(
    st.lists(st.floats(20, 30) | st.just(math.nan), min_size=1, max_size=80), st.sampled_from([30, 60, 180])
)
def test_a_steady_slope_is_one_of_its_windows_or_not_known(values, minutes):
    cells = {place: value for place, value in enumerate(values) if value == value}
    if not cells:
        return
    look = look_of(cells, len(values) - 1)
    steady = look.steady_slope()
    known = [look.slope(m) for m in (30, 60, 180) if look.is_distinct(m)]
    assert steady == known[0] if known else not steady.is_known
    assert look.is_distinct(minutes) <= look.slope(minutes).is_known


@pytest.mark.parametrize(("moved", "rest"), [(10, 10), (1, 1), (40, 40)])
def test_a_rest_is_counted_from_the_last_move(moved, rest):
    cells = {place: 25.0 + 0.1 * (place % 2) for place in range(100)}
    cells |= dict.fromkeys(range(100 - moved, 100), 26.0)
    assert look_of(cells, 99).rest_cells() == rest


def test_a_hole_is_no_rest():
    cells = {place: 25.0 + 0.1 * (place % 2) for place in range(100)}
    cells |= dict.fromkeys((*range(100, 105), *range(150, 155)), 26.0)
    # Ten cells with readings in a day of which one in nearly 1.4 has some.
    assert look_of(cells, 154).rest_cells() <= 15


def test_a_step_and_its_place_are_found_in_the_cells():
    chance = np.random.default_rng(2)
    cells = {place: 25.0 - 0.6 * (place >= 280) + 0.01 * chance.standard_normal() for place in range(300)}
    step = look_of(cells, 299).step(180)
    assert step is not None
    assert step.size == pytest.approx(-0.6, abs=0.05)
    assert abs(step.place - (36 - 20)) <= 1


# -- three days by the hour --------------------------------------------------------------------------


def three_days(value, hours: int = 72) -> Trace:
    count = hours * HOUR_CELLS
    # Begins on an hour, for CELL is a multiple of it.
    return trace_of({cell: value(cell / HOUR_CELLS) for cell in range(count)}, count - 1)


def hours_of(value, baseline: Course | None = None) -> Hours:
    trace = three_days(value)
    return Hours(trace, trace.step, baseline)


def test_an_hour_is_the_median_of_its_cells():
    hours = hours_of(lambda hour: float(int(hour)))
    assert hours.medians == [float(hour) for hour in range(72)]


def test_the_running_hour_is_not_yet_among_them():
    trace = three_days(lambda hour: float(int(hour)))
    count = 72 * HOUR_CELLS
    for extra in range(HOUR_CELLS - 1):
        time_us = (CELL + count + extra) * STEP_US
        trace.collect([time_us], [999.0], [time_us], None)
        trace.advance(CELL + count + extra)
        hours = Hours(trace, trace.step, None)
        assert hours.medians[-1] == 71.0
        assert hours.is_of(trace.step, None)


@pytest.mark.parametrize("swing", [0.0, 0.5])
def test_water_on_its_course_does_not_drift(swing):
    course = Course(swing)
    start_us = CELL * STEP_US
    drift = hours_of(
        lambda hour: course.band_at(start_us + round(hour * HOUR_CELLS * STEP_US)).centre, course
    ).drift
    assert drift is not None
    assert max(drift.high, drift.low) < 0.05
    assert drift.step is None


@pytest.mark.parametrize(("a_day", "is_high"), [(0.2, True), (-0.2, False)])
def test_a_slow_move_gathers_on_its_side(a_day, is_high):
    """0.6 in three days of a band of +/- 0.3 that holds 99 %: of a normal distribution 2.576 sigmas."""
    drift = hours_of(lambda hour: 25.0 + a_day * hour / 24, Course()).drift
    assert drift is not None
    assert (drift.high > 1.0, drift.low > 1.0) == (is_high, not is_high)
    assert drift.slope.median * 24 == pytest.approx(a_day, rel=0.05)
    # Twelve periods of 0.025, 0.075 ... 0.575, less half a sigma each, by hand.
    sigma = 0.3 / 2.576
    expected = sum(max(0.0, (0.025 + 0.05 * n) / sigma - 0.5) for n in range(PERIODS)) / LIMIT
    assert max(drift.high, drift.low) == pytest.approx(expected, rel=0.03)
    assert drift.step is None


def test_a_calibration_is_a_step_and_no_slope():
    drift = hours_of(lambda hour: 25.0 + 0.4 * (hour >= 30), Course()).drift
    assert drift is not None
    assert drift.high > 1.0
    assert drift.step is not None
    assert drift.step.size == pytest.approx(0.4)


def test_nothing_drifts_while_learning():
    assert hours_of(lambda hour: 25.0 + hour).drift is None


@pytest.mark.parametrize(("swing", "follows"), [(0.5, 1.0), (0.25, 0.5), (0.0, 0.0), (-0.5, -1.0)])
def test_how_much_of_its_day_a_series_follows(swing, follows):
    course, shown = Course(0.5), Course(swing)
    start_us = CELL * STEP_US

    def value(hour: float) -> float:
        return shown.band_at(start_us + round(hour * HOUR_CELLS * STEP_US)).centre

    assert hours_of(value, course).follows(24) == pytest.approx(follows, abs=0.03)


class TestUsual:
    def test_the_longest_rest_is_not_the_present_one(self):
        """It moved every half hour for two days, rested for two hours once, and rests for ten now."""

        def value(hour: float) -> float:
            if hour >= 62:
                return 1.0
            return 2.0 if 20 <= hour < 22 else 3.0 + 0.1 * (int(hour * 2) % 2)

        usual = hours_of(value).usual
        assert 2 * HOUR_CELLS <= usual.longest_rest <= 2.5 * HOUR_CELLS + 1

    def test_noise_of_the_last_six_hours_is_not_usual(self):
        chance = np.random.default_rng(4)
        usual = hours_of(lambda hour: chance.normal(25.0, 1.0 if hour >= 66 else 0.02)).usual
        assert usual.greatest_jump < 0.1
        assert usual.high < 25.1

    def test_a_day_must_be_known(self):
        trace = three_days(lambda hour: hour, hours=22)
        usual = Hours(trace, trace.step, None).usual
        assert math.isnan(usual.jump)


# -- the tank ----------------------------------------------------------------------------------------


def test_a_tank_is_asked_by_roles():
    look = look_of(every(1, 30), 29)
    stale = look_of(every(1, 30), 60)
    tank = TankLook(
        TankRules("reef", equipment=frozenset({"heater"})),
        look.end_us,
        {"temperature": look, "acid": stale},
        {"temperature": "temperature", "ph": "acid", "sump_level": "gone"},
        {},
        {},
    )
    assert tank.look("temperature") is look
    assert tank.known("temperature") is look
    assert tank.look("ph") is stale
    assert tank.known("ph") is None
    assert tank.look("sump_level") is None
    assert tank.look("practical_salinity") is None
    assert tank.role_of("acid") == "ph"
    assert tank.role_of("temperature_2") is None
    assert tank.has("heater")
    assert not tank.has("chiller")
