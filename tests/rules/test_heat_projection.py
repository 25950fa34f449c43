"""The danger line of a tank that relaxes: is it reached when told, and how often within the interval?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import (
    HOUR_US,
    AlarmRaised,
    Block,
    Engine,
    EngineRules,
    HeatModel,
    LimitAlarm,
    Priority,
    SeriesRules,
    TankRules,
    fit_heat_model,
)
from rules.physics.heat import HeatBalance, heat_capacity, usual_time_constant_hours
from rules.projection import HEAT_COVERAGE, project_heat
from rules.slope import robust_slope
from tests.rules.faults.plain_tank import START_US, Plain, from_fault, listen
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


def warm(hour: float) -> float:
    """400 L without heat end at 21.4 degC in it: 24 degC and 60 W less 112 W over 20 W/K, computed."""
    return 24.0


@pytest.mark.parametrize("model", [None, HeatModel(14.0, 0.05, (0.0,) * 24, time_constant_hours=TAU)])
def test_a_danger_line_that_the_water_never_reaches_is_not_told(model):
    """The danger line at 21 degC lies below where the water ends; a straight line would be there in a day."""
    tank = Plain(room=warm, heats=from_fault(0.0), noise=0.005)
    _, raised = listen(tank, model=model).first("heater_failed_off")
    assert raised.evidence.rate_per_hour == pytest.approx(-(25.4 - 21.4) / TAU, rel=0.15)
    assert raised.evidence.danger_at_us is None
    assert raised.evidence.danger is None


@pytest.mark.parametrize("tau", [15.0, 60.0])
def test_an_alarm_of_a_limit_is_projected_by_the_heat_of_its_tank_too(tau):
    """Water that falls by 0.2 degC/h; the slope is that of the last 40 minutes."""
    model = HeatModel(14.0, 0.05, (0.0,) * 24, time_constant_hours=tau)
    limit = LimitAlarm(24.0, False, False, 0.1, 0, 0, Priority.HIGH)
    danger = LimitAlarm(22.0, False, True, 0.1, 0, 0, Priority.URGENT)
    engine = Engine(
        EngineRules(
            (TankRules("reef", volume_litres=400.0),),
            (SeriesRules("reef", "temperature", "temperature", limit_alarms=(limit, danger)),),
        )
    )
    engine.set_models({"reef": model})
    times_us = START_US + np.arange(0, 20 * HOUR_US, HOUR_US // 12)
    values = np.round(26.0 - 0.2 * (times_us - START_US) / HOUR_US, 3)
    events = engine.advance(Block(times_us, values, np.zeros(len(times_us), np.int64))).events
    found = next(one for one in events if isinstance(one, AlarmRaised) and one.alarm.cause == "under_limit")
    expected = project_heat(
        found.at_us, found.evidence.value, -0.2, tau, 22.0, None, day=model.day, slope_hours=2 / 3
    )
    assert found.evidence.danger_at_us == pytest.approx(expected.at_us, abs=HOUR_US / 60)
    assert found.evidence.danger_earliest_us == pytest.approx(expected.earliest_us, abs=HOUR_US / 60)
