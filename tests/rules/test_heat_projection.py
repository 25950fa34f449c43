"""The danger line of a tank that relaxes: is it reached when told, and how often within the interval?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import HOUR_US, HeatModel, fit_heat_model
from rules.physics.heat import HeatBalance, heat_capacity, usual_time_constant_hours
from rules.projection import HEAT_COVERAGE, project_heat
from rules.slope import robust_slope
from tests.rules.faults.plain_tank import Plain
from tests.rules.test_heat_model import quarters

# 400 L with 20 W/K from 25.5 degC in a room of 18 without sources: computed.
COOLING = {1.0: 25.1773, 2.0: 24.8684, 4.0: 24.2900, 8.0: 23.2752, 24.0: 20.6098}
TAU = 22.735


@pytest.mark.parametrize(("hours", "line"), sorted(COOLING.items()))
def test_pure_cooling_reaches_its_published_temperatures_on_time(hours, line):
    # The slope of the last hour is that of half an hour ago.
    slope = -(25.5 - 18.0) * math.exp(0.5 / TAU) / TAU
    found = project_heat(0, 25.5, slope, TAU, line, None)
    assert found is not None
    assert found.danger == line
    assert found.at_us / HOUR_US == pytest.approx(hours, rel=0.03)
    assert found.earliest_us < found.at_us
    # A slope that may be half of it need not come so far.
    assert found.latest_us is None or found.at_us < found.latest_us


@pytest.mark.parametrize("slope_hours", [0.25, 0.5, 1.0, 2.0])
def test_a_slope_holds_at_the_middle_of_its_window(slope_hours):
    """Pure cooling from 25.5 in a room of 18 degC reaches 22 after 14.3 h (computed), however it is taken."""
    slope = -(25.5 - 18.0) * math.exp(slope_hours / 2 / TAU) / TAU
    found = project_heat(0, 25.5, slope, TAU, 22.0, None, slope_hours=slope_hours)
    assert found is not None
    assert found.at_us / HOUR_US == pytest.approx(TAU * math.log(7.5 / 4.0), rel=0.005)


def test_a_line_beyond_the_end_temperature_is_never_reached():
    slope = -(25.5 - 18.0) / TAU
    assert project_heat(0, 25.5, slope, TAU, 17.5, None) is None


@pytest.mark.parametrize(
    ("value", "slope", "low", "high"),
    [
        (25.0, float("nan"), 21.0, 30.0),
        (25.0, 0.0, 21.0, 30.0),
        (25.0, -0.3, None, 30.0),
        (20.9, -0.3, 21.0, 30.0),
    ],
    ids=["no slope", "level", "no line ahead", "line crossed"],
)
def test_nothing_is_projected_where_nothing_can_be(value, slope, low, high):
    assert project_heat(0, value, slope, TAU, low, high) is None


def test_lamps_that_come_on_soon_are_counted():
    """At seven, with lamps from nine on, the line is reached later than late in the evening."""
    day = tuple(0.15 if 9 <= hour < 21 else -0.15 for hour in range(24))
    morning = project_heat(0, 24.0, -0.3, TAU, 22.5, None, day=day, hour=7.0)
    evening = project_heat(0, 24.0, -0.3, TAU, 22.5, None, day=day, hour=21.5)
    assert morning is not None
    assert evening is not None
    assert evening.at_us < morning.at_us


@given(
    st.floats(24.0, 27.0),
    st.floats(-1.0, -0.1),
    st.floats(5.0, 60.0),
    st.floats(0.1, 2.0),
    st.floats(0.1, 2.0),
)
def test_a_farther_line_is_reached_later_and_the_interval_holds_its_middle(value, slope, tau, near, more):
    first = project_heat(0, value, slope, tau, value - near, None)
    second = project_heat(0, value, slope, tau, value - near - more, None)
    if second is not None:
        assert first is not None
        assert first.at_us < second.at_us
    if first is not None:
        assert first.earliest_us is not None
        assert first.earliest_us <= first.at_us
        assert first.latest_us is None or first.at_us <= first.latest_us


def _crossings(seed: int, *, is_stuck: bool) -> list[tuple[bool, bool]]:
    """One tank with a heater that fails: for some lines, whether the interval holds the true crossing.

    With the model that is fitted to its fortnight, and with its volume alone. Size, room, its days, lamps and
    hour are drawn; the truth is that of the balance of heat.
    """
    rng = np.random.RandomState(seed)
    volume = float(np.exp(rng.uniform(np.log(80.0), np.log(1500.0))))
    mean, swing, wander = rng.uniform(19.0, 23.0), rng.uniform(0.5, 2.0), rng.uniform(0.3, 1.0)
    phase, light = rng.uniform(0.0, 6.0, 3), rng.uniform(0.1, 0.4)

    def room(hour: float) -> float:
        slow = sum(math.sin(hour / period + p) for period, p in zip((11.0, 29.0, 71.0), phase, strict=True))
        return mean - swing * math.cos((hour - 5.0) / 12.0 * math.pi) + wander * slow / 1.5

    def lamps(hour: float) -> float:
        return light if 9.0 <= hour % 24.0 < 20.0 else 0.0

    fault = 14 * 24.0 + rng.uniform(0.0, 24.0)
    tank = Plain(
        volume,
        room=room,
        lamps=lamps,
        hours=fault + 54.0,
        heats=(lambda hour: 1.0) if is_stuck else (lambda hour: 0.0 if hour >= fault else 1.0),
        sticks=(lambda hour: 1.0 if hour >= fault else 0.0) if is_stuck else (lambda hour: 0.0),
        noise=0.02,
        seed=seed,
    )
    times, means = quarters(tank)
    known = slice(0, 14 * 96)
    model = fit_heat_model(
        times[known],
        means["temperature"][known],
        "UTC",
        room=means["room_temperature"][known],
        heater=means["heater_power"][known],
    )
    _, columns = tank.live()
    values = columns["temperature"]
    now = int((fault + 2.0) * 12)
    sign = 1.0 if is_stuck else -1.0
    slope = robust_slope(values[now - 13 : now].tolist(), 1 / 12)
    if sign * slope.median < 0.05:
        return []
    found = []
    for distance in (0.5, 1.0, 2.0):
        line = values[now - 1] + sign * distance
        reached = np.flatnonzero(sign * (values[now:] - line) >= 0.0)
        if not len(reached):
            continue
        after_us = int((reached[0] + 1) / 12 * HOUR_US)
        inside = []
        usual = usual_time_constant_hours(volume)
        has_model = isinstance(model, HeatModel) and model.time_constant_hours is not None
        for tau, day in (
            (model.time_constant_hours, model.day) if has_model else (usual, ()),
            (usual, ()),
        ):
            low, high = (None, line) if is_stuck else (line, None)
            hour = (now / 12.0) % 24.0
            told = project_heat(0, values[now - 1], slope.median, tau, low, high, day=day, hour=hour)
            inside.append(
                told is not None
                and told.earliest_us is not None
                and told.earliest_us <= after_us <= (told.latest_us or 2**62)
            )
        found.append((inside[0], inside[1]))
    return found


def test_the_stated_coverage_holds():
    """Some 70 true crossings of 24 tanks; a line that no projection was made for counts as outside."""
    crossings = [
        one for seed in range(12) for is_stuck in (False, True) for one in _crossings(seed, is_stuck=is_stuck)
    ]
    with_model, without = np.mean(np.array(crossings), axis=0)
    assert len(crossings) >= 60
    assert with_model >= HEAT_COVERAGE
    assert without >= HEAT_COVERAGE


def test_the_slope_of_a_balance_is_the_slope_that_is_projected():
    """The same crossing from `HeatBalance`, which knows the room."""
    balance = HeatBalance(heat_capacity(400.0), 20.0, 18.0)
    seconds = balance.time_to_reach(22.0, 24.0)
    slope = balance.rate_per_hour(balance.temperature_after(-1800.0, 24.0))
    found = project_heat(0, 24.0, slope, balance.time_constant_s / 3600.0, 22.0, None)
    assert found is not None
    assert found.at_us / HOUR_US == pytest.approx(seconds / 3600.0, rel=0.02)
