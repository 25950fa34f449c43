"""The heater faults: named early on simulated tanks, silent on quiet weeks, water changes and heat waves.

The tanks are simulated by the project's own physics (checked against published values in
tests/physics), so these tests hold the diagnosis, not the model, to account.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from collector.simulation.faults import HeaterFailedOff, HeaterStuckOn
from collector.simulation.tank import SimulatedTank, TankSettings
from rules import (
    FAULTS,
    HOUR_US,
    AlarmRaised,
    Baseline,
    Block,
    Engine,
    EngineRules,
    LimitAlarm,
    Priority,
    SeriesRules,
    Sign,
    TankRules,
    WeekProfile,
    fit_baseline,
)

MINUTE_US = HOUR_US // 60
DAY_US = 24 * HOUR_US
START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z, a Monday
FAILS_US = START_US + 15 * DAY_US + 2 * HOUR_US
LIMITS = tuple(
    LimitAlarm(setpoint, is_high, is_danger, 0.2, 5 * MINUTE_US, 10 * MINUTE_US, priority)
    for setpoint, is_high, is_danger, priority in (
        (23.0, False, False, Priority.HIGH),
        (28.0, True, False, Priority.HIGH),
        (21.0, False, True, Priority.URGENT),
        (30.0, True, True, Priority.URGENT),
    )
)
RULES = EngineRules(
    (TankRules("reef", equipment=frozenset({"heater"})),),
    (SeriesRules("reef", "temperature", "temperature", limit_alarms=LIMITS),),
)


@lru_cache(maxsize=8)
def recorded(volume: float, seed: int, fault: str) -> tuple[np.ndarray, np.ndarray]:
    """Seventeen days at one reading a minute; a fault, if any, in the small hours of day 16."""
    scale = (volume / 400.0) ** (2 / 3)
    settings = TankSettings(
        volume_litres=volume,
        heater_watts=volume,
        equipment_watts=0.15 * volume,
        lights_watts=0.25 * volume,
        loss_watts_per_kelvin=20.0 * scale,
        return_section_m2=0.18 * scale,
    )
    faults = {
        "heater_failed_off": [HeaterFailedOff(FAILS_US)],
        "heater_stuck_on": [HeaterStuckOn(FAILS_US)],
    }.get(fault, [])
    tank = SimulatedTank(settings, seed=seed, start_us=START_US, faults=faults)
    recording = tank.record(START_US + 17 * DAY_US, MINUTE_US)
    return recording.times_us, recording.columns["temperature"]


def alarms(times_us, values, baseline: Baseline | None) -> list[AlarmRaised]:
    engine = Engine(RULES, {} if baseline is None else {0: baseline})
    events = engine.advance(Block(times_us, values, np.zeros(len(times_us), np.int64))).events
    return [event for event in events if isinstance(event, AlarmRaised)]


def learnt(times_us, values) -> WeekProfile:
    """The baseline of the first fourteen days."""
    known = times_us < START_US + 14 * DAY_US
    profile = fit_baseline(times_us[known], values[known], "UTC", "temperature")
    assert isinstance(profile, WeekProfile)
    return profile


@pytest.mark.parametrize("with_baseline", [True, False], ids=["baseline", "learning"])
@pytest.mark.parametrize("volume", [80.0, 400.0, 1500.0])
@pytest.mark.parametrize("fault", ["heater_failed_off", "heater_stuck_on"])
def test_the_fault_is_named_long_before_a_fixed_limit_is_crossed(fault, volume, with_baseline):
    times, values = recorded(volume, 7, fault)
    baseline = learnt(times, values) if with_baseline else None
    raised = alarms(times, values, baseline)
    first = raised[0]
    assert first.alarm.cause == fault
    assert first.priority is Priority.URGENT
    # Until the thermostat first asks for heat (or first lets go) the fault cannot be seen at all.
    assert FAILS_US < first.at_us < FAILS_US + 6 * HOUR_US
    limit = next(
        (alarm.at_us for alarm in raised if alarm.alarm.cause in ("under_limit", "over_limit")), None
    )
    assert limit is None or limit - first.at_us > 2 * HOUR_US


def test_the_alarm_tells_when_the_danger_line_will_be_reached():
    times, values = recorded(400.0, 7, "heater_failed_off")
    evidence = alarms(times, values, learnt(times, values))[0].evidence
    assert evidence.danger == 21.0
    assert evidence.rate_per_hour == pytest.approx(-0.3, abs=0.1)
    assert evidence.danger_earliest_us <= evidence.danger_at_us
    # A straight line is early: heat loss slows as the water nears the room (end temperature 18.4).
    reached_us = FAILS_US + 22.7 * HOUR_US * np.log((25.5 - 18.4) / (21.0 - 18.4))
    assert FAILS_US + 6 * HOUR_US < evidence.danger_at_us <= reached_us
    assert [reason.sign for reason in evidence.reasons] == [Sign.SLOPE, Sign.BAND]
    assert evidence.reasons[0].value == evidence.rate_per_hour


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("with_baseline", [True, False], ids=["baseline", "learning"])
def test_quiet_weeks_ring_nothing(seed, with_baseline):
    times, values = recorded(400.0, seed, "")
    assert alarms(times, values, learnt(times, values) if with_baseline else None) == []


@pytest.mark.parametrize("drop", [0.4, 0.8, 1.5])
@pytest.mark.parametrize("with_baseline", [True, False], ids=["baseline", "learning"])
def test_a_cold_water_change_is_not_a_heater_failure(drop, with_baseline):
    """Twenty minutes of colder water, then the heater brings it back at 0.25 degC/h."""
    times, values = recorded(400.0, 3, "")
    hours = (times - (START_US + 15 * DAY_US + 18 * HOUR_US)) / HOUR_US
    fall = np.clip(hours * 3.0, 0.0, 1.0) * drop
    back = np.clip((hours - 0.4) * 0.25, 0.0, drop)
    changed = values - np.where(hours > 0, fall - np.minimum(back, fall), 0.0)
    raised = alarms(times, changed, learnt(times, values) if with_baseline else None)
    assert not {event.alarm.cause for event in raised} & {"heater_failed_off", "heater_weak"}


@pytest.mark.parametrize("hole", [14, 40])
def test_a_fault_is_not_named_over_a_hole_behind_which_all_is_well(hole):
    """Cold for five minutes of the on-delay, then no readings for a while, then as warm as ever."""
    minutes = np.arange(92)
    falling = 25.5 - np.maximum(minutes - 50, 0) * 0.01
    profile = WeekProfile("UTC", ((25.5,) * 96,), (0.2,) * 96, 1.0, "level", 0.0, 28)
    first = alarms(START_US + minutes * MINUTE_US, falling, profile)
    assert first == []
    behind = START_US + (91 + hole + np.arange(60)) * MINUTE_US
    times = np.concatenate((START_US + minutes * MINUTE_US, behind))
    raised = alarms(times, np.concatenate((falling, np.full(60, 25.5))), profile)
    assert raised == []


def test_a_tank_without_a_heater_has_no_heater_faults():
    times, values = recorded(400.0, 7, "heater_failed_off")
    bare = EngineRules((TankRules("reef"),), RULES.series)
    engine = Engine(bare)
    events = engine.advance(Block(times, values, np.zeros(len(times), np.int64))).events
    causes = {event.alarm.cause for event in events if isinstance(event, AlarmRaised)}
    assert causes <= {"under_limit", "under_danger_line"}


@pytest.mark.parametrize("code", sorted(FAULTS))
def test_every_parameter_says_what_it_means(code):
    names = [parameter.name for parameter in FAULTS[code].parameters]
    assert len(set(names)) == len(names)
    assert {"on_delay", "off_delay"} <= set(names)
    for parameter in FAULTS[code].parameters:
        assert parameter.kind in ("difference", "rate", "duration", "number")
        assert len(parameter.meaning.split()) >= 5
