"""Heater failed off: named on the way down, and nothing else that cools water a little."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_tank import FAULT, HALF_HYSTERESIS, SETPOINT, Plain, always, from_fault, listen

WITH_POWER = ("temperature", "heater_power")
OFF = from_fault(0.0)


# Hours in which the tank cools by 0.5 K without heat: C dT/dt = P - UA (T - T_room) with the assumptions of
# `plain_tank`, computed. Below where heating sets in, the alarm comes before that.
@pytest.mark.parametrize(("volume", "hours_for_half"), [(80.0, 1.15), (400.0, 1.65), (1500.0, 2.12)])
@pytest.mark.parametrize("series", [("temperature",), WITH_POWER], ids=["temperature alone", "power too"])
def test_it_is_named_before_half_a_degree_is_lost(volume, hours_for_half, series):
    told = listen(Plain(volume, heats=OFF), series)
    hours, event = told.first("heater_failed_off")
    assert told.causes[0] == "heater_failed_off"
    assert 0.0 < hours < hours_for_half
    assert event.priority is Priority.URGENT
    assert event.evidence.value > SETPOINT - HALF_HYSTERESIS - 0.5


def test_power_makes_it_surer_and_is_among_the_reasons():
    alone = listen(Plain(heats=OFF)).first("heater_failed_off")[1].evidence
    told = listen(Plain(heats=OFF), WITH_POWER).first("heater_failed_off")[1].evidence
    assert 0.6 <= alone.confidence <= 0.75
    assert told.confidence > 0.85
    assert [reason.sign for reason in alone.reasons] == [Sign.SLOPE, Sign.BAND]
    assert [reason.sign for reason in told.reasons] == [Sign.POWER, Sign.BAND, Sign.SLOPE]
    assert told.reasons[0].value == 0.0
    # The water cools at 0.31 K/h without heat: the published first rate of 400 L.
    assert alone.rate_per_hour == pytest.approx(-0.31, abs=0.04)


@pytest.mark.parametrize("every", [1.0, 10.0, 20.0, 30.0])
def test_it_is_named_at_any_interval(every):
    told = listen(Plain(heats=OFF, every_minutes=every))
    assert told.causes[0] == "heater_failed_off"
    assert told.raised[0][0] < 2.0 + 3.0 * every / 60.0


@pytest.mark.parametrize(("noise", "resolution"), [(0.02, 0.0625), (0.05, 0.1), (0.1, 0.01)])
def test_it_is_named_by_coarse_and_noisy_probes(noise, resolution):
    told = listen(Plain(heats=OFF, noise=noise, resolution=resolution, every_minutes=1.0, hours=FAULT + 6.0))
    assert told.causes[0] == "heater_failed_off"


@pytest.mark.parametrize(("noise", "resolution"), [(0.02, 0.0625), (0.05, 0.1), (0.1, 0.01)])
@pytest.mark.parametrize("seed", range(3))
def test_coarse_and_noisy_probes_ring_for_nothing(noise, resolution, seed):
    tank = Plain(noise=noise, resolution=resolution, hours=168.0, seed=seed)
    assert listen(tank, equipment=frozenset({"heater", "chiller"})).causes == []


@pytest.mark.parametrize("depth", [0.2, 0.5, 1.0])
@pytest.mark.parametrize("begins", [FAULT, FAULT + 0.7, FAULT + 1.3])
@pytest.mark.parametrize("series", [("temperature",), WITH_POWER], ids=["temperature alone", "power too"])
def test_a_cold_water_change_is_none(depth, begins, series):
    """Colder water comes in for twenty minutes, and the heater warms it."""
    tank = Plain(gains=lambda hour: -3.0 * depth if begins <= hour < begins + 1 / 3 else 0.0)
    assert listen(tank, series).causes == []


@pytest.mark.parametrize("series", [("temperature",), WITH_POWER], ids=["temperature alone", "power too"])
def test_an_open_window_is_none(series):
    """An hour of a room that is six degrees colder."""
    tank = Plain(room=lambda hour: 15.0 if FAULT <= hour < FAULT + 1.0 else 21.0)
    assert listen(tank, series).causes == []


def test_water_that_only_comes_down_from_a_warm_afternoon_is_none():
    """Lamps lift it above the thermostat each day; one day they stay dark."""

    def lamps(hour: float) -> float:
        return 0.6 if 10.0 <= hour % 24.0 < 18.0 and hour < 96.0 else 0.0

    tank = Plain(lamps=lamps, hours=140.0)
    assert "heater_failed_off" not in listen(tank).causes


def test_after_a_heat_wave_the_way_down_to_the_thermostat_is_none():
    """Three days at 27 degC: the lowest of these days says nothing of where heating sets in."""
    _, columns = Plain(hours=240.0).live()
    values = columns["temperature"].copy()
    hours = np.arange(len(values)) / 12.0
    lift = np.clip((hours - 60.0) * 0.1, 0.0, 1.5)
    lift = np.where(hours > 140.0, np.clip(1.5 - 0.2 * (hours - 140.0), 0.0, None), lift)
    from rules import WeekProfile

    usual = WeekProfile("UTC", ((25.5,) * 96,), (0.3,) * 96, 1.0, "level", 0.0, 28)
    told = listen(Plain(hours=240.0), changed={"temperature": values + lift}, baselines={0: usual})
    assert "heater_failed_off" not in told.causes


def test_a_lowered_setpoint_returns_to_normal_within_a_day():
    told = listen(Plain(setpoint=from_fault(24.5, SETPOINT), hours=FAULT + 36.0))
    assert told.causes.count("heater_failed_off") <= 1
    assert told.returned
    assert told.returned[-1][0] < 24.0


def test_water_cannot_cool_as_fast_as_a_probe_in_air():
    """From 25.5 to 21 within a quarter of an hour, then as the room."""
    tank = Plain(shown=lambda hour: -4.5 * min(1.0, (hour - FAULT) * 4.0) if hour >= FAULT else 0.0)
    assert "heater_failed_off" not in listen(tank).causes


def test_a_second_probe_that_sees_nothing_of_it_speaks_against():
    tank = Plain(shown=lambda hour: -0.3 * max(0.0, hour - FAULT))
    _, columns = Plain().live()
    _, odd = tank.live()
    both = ("temperature", "temperature_2")
    alone = listen(tank, ("temperature",))
    told = listen(
        tank, both, changed={"temperature": odd["temperature"], "temperature_2": columns["temperature"]}
    )
    assert alone.causes[:1] == ["heater_failed_off"]
    assert "heater_failed_off" not in told.causes


def test_while_the_return_pump_stands_the_display_may_cool():
    """The heater warms the sump alone."""
    series = (*WITH_POWER[:1], "return_pump_power")
    tank = Plain(heats=OFF, pump=from_fault(0.0))
    assert "heater_failed_off" not in listen(tank, series).causes


# How far below the lowest usual: just under, at and just over the margin, in steps of 1/64 degC.
@pytest.mark.parametrize(("depth", "is_on"), [(0.25 - 1 / 64, False), (0.25, True), (0.25 + 1 / 64, True)])
def test_the_margin(depth, is_on):
    """A saw-tooth with its feet cut off at 25, so that its 5 % quantile is 25, then a fall to some depth."""
    hours = np.arange(int((FAULT + 6.0) * 12)) / 12.0
    tooth = np.maximum(25.4375 - np.abs((hours * 0.5) % 1.0 - 0.5), 25.0)
    turn = int(np.flatnonzero((hours >= FAULT) & (tooth == 25.0))[0])
    values = tooth.copy()
    values[turn:] = np.maximum(25.0 - 0.5 * (hours[turn:] - hours[turn]), 25.0 - depth)
    settings = {"heater_failed_off": {"margin": 0.25, "on_delay": 0.0}}
    tank = Plain(hours=FAULT + 6.0, every_minutes=5.0)
    told = listen(tank, changed={"temperature": values}, settings=settings)
    assert ("heater_failed_off" in told.causes) is is_on


def test_a_tank_without_a_heater_has_none():
    assert listen(Plain(heats=OFF), equipment=frozenset()).causes == []


def test_a_cold_day_without_a_fault_is_none():
    """The room falls by three degrees over a day; the heater keeps up."""
    tank = Plain(room=lambda hour: 21.0 - 3.0 * min(1.0, max(0.0, hour - 70.0) / 24.0), hours=140.0)
    for series in (("temperature",), WITH_POWER):
        assert listen(tank, series).causes == []


def test_at_full_power_a_rising_room_changes_nothing():
    assert listen(Plain(room=always(23.0), hours=120.0)).causes == []


@pytest.mark.parametrize("volume", [80.0, 400.0, 1500.0])
def test_a_second_probe_that_has_frozen_does_not_keep_it_silent(volume):
    """Neither probe can be told from the other, and the tank is the one that cannot wait."""
    tank = Plain(volume, heats=OFF)
    times, columns = tank.live()
    frozen = columns["temperature"].copy()
    hour = np.arange(1, len(times) + 1) * tank.every_minutes / 60.0
    frozen[hour >= FAULT] = SETPOINT
    told = listen(tank, (*WITH_POWER, "temperature_2"), changed={"temperature_2": frozen})
    assert told.first("heater_failed_off")[0] < 2.5


def test_a_second_probe_that_stays_speaks_against_one_that_drifts():
    """The heater rests, for the water is warm: 0.6 degC a day is the probe."""
    tank = Plain(hours=FAULT + 48.0, shown=lambda hour: -0.6 / 24.0 * max(0.0, hour - FAULT))
    _, columns = Plain(hours=FAULT + 48.0).live()
    series = (*WITH_POWER, "temperature_2")
    told = listen(tank, series, changed={"temperature_2": columns["temperature"]})
    assert "heater_failed_off" not in told.causes
    assert "heater_failed_off" in listen(tank, WITH_POWER).causes
