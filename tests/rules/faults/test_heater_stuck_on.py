"""Heater stuck on: named on the way up; heat waves, lamps and lost cooling are not it."""

from __future__ import annotations

import math

import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_tank import FAULT, HALF_HYSTERESIS, SETPOINT, Plain, always, from_fault, listen

WITH_POWER = ("temperature", "heater_power")
STUCK = from_fault(1.0, 0.0)


# Hours to +1 K with the heater on, computed with the assumptions of `plain_tank`: 2.59, 1.84 and 1.61.
@pytest.mark.parametrize(("volume", "hours_to_one"), [(80.0, 2.59), (400.0, 1.84), (1500.0, 1.61)])
@pytest.mark.parametrize("series", [("temperature",), WITH_POWER], ids=["temperature alone", "power too"])
def test_it_is_named_before_a_degree_is_gained(volume, hours_to_one, series):
    told = listen(Plain(volume, sticks=STUCK), series)
    hours, event = told.first("heater_stuck_on")
    assert told.causes[0] == "heater_stuck_on"
    assert 0.0 < hours < hours_to_one
    assert event.priority is Priority.URGENT
    assert event.evidence.value < SETPOINT + HALF_HYSTERESIS + 0.6


def test_power_makes_it_surer_and_is_among_the_reasons():
    alone = listen(Plain(sticks=STUCK)).first("heater_stuck_on")[1].evidence
    told = listen(Plain(sticks=STUCK), WITH_POWER).first("heater_stuck_on")[1].evidence
    assert 0.6 <= alone.confidence <= 0.75
    assert told.confidence > 0.85
    assert told.reasons[0].sign is Sign.POWER
    assert told.reasons[0].value == 400.0
    # 400 L with 1 W/L start at 0.566 K/h, computed.
    assert alone.rate_per_hour == pytest.approx(0.566, abs=0.06)


def test_a_heat_wave_is_none():
    """The room goes from 21 to 31 degC within two days and stays: the water follows by 0.1 to 0.2 degC/h."""

    def room(hour: float) -> float:
        return 21.0 + 10.0 * min(1.0, max(0.0, hour - FAULT) / 48.0) + math.sin(hour / 12.0 * math.pi)

    tank = Plain(room=room, hours=FAULT + 96.0)
    for series in (("temperature",), WITH_POWER):
        assert "heater_stuck_on" not in listen(tank, series).causes


def test_a_heat_wave_about_a_strong_heater_is_none():
    """80 L warm by 0.2 degC/h where the room goes from 22 to 28 degC; the heater would make 0.9 of it."""

    def room(hour: float) -> float:
        return (
            22.0
            + 6.0 * min(1.0, max(0.0, hour - FAULT) / 48.0)
            + 1.5 * math.sin((hour - 10.0) / 12.0 * math.pi)
        )

    tank = Plain(80.0, room=room, heats=always(1.5), hours=FAULT + 72.0)
    assert "heater_stuck_on" not in listen(tank).causes


def test_lamps_that_come_on_at_another_hour_are_none():
    """0.4 W/L of light; from the fault on two hours earlier."""

    def lamps(hour: float) -> float:
        shift = 2.0 if hour >= FAULT else 0.0
        return 0.4 if 10.0 <= (hour + shift) % 24.0 < 20.0 else 0.0

    tank = Plain(lamps=lamps, hours=FAULT + 60.0)
    for series in (("temperature",), WITH_POWER):
        assert "heater_stuck_on" not in listen(tank, series).causes


def test_a_heater_that_takes_nothing_is_not_stuck():
    """The water warms as with a stuck heater, but the heater's plug meters nothing."""
    tank = Plain(lamps=from_fault(1.0, 0.0))
    assert "heater_stuck_on" not in listen(tank, WITH_POWER).causes


def test_the_way_back_from_a_cold_water_change_is_none():
    tank = Plain(gains=lambda hour: -3.0 if FAULT <= hour < FAULT + 1 / 3 else 0.0)
    for series in (("temperature",), WITH_POWER):
        assert "heater_stuck_on" not in listen(tank, series).causes


def test_water_cannot_warm_as_fast_as_a_lamp_on_the_probe():
    tank = Plain(shown=lambda hour: 3.0 * min(1.0, (hour - FAULT) * 6.0) if hour >= FAULT else 0.0)
    assert "heater_stuck_on" not in listen(tank).causes


def test_it_returns_to_normal_when_the_plug_is_pulled():
    tank = Plain(sticks=lambda hour: 1.0 if FAULT <= hour < FAULT + 3.0 else 0.0, hours=FAULT + 12.0)
    told = listen(tank)
    assert told.causes == ["heater_stuck_on"]
    assert told.returned
    assert 3.0 < told.returned[0][0] < 6.0


# 0.5 to 1.5 W/L are common practice, no source. Temperature alone cannot tell the smallest from warm weather.
@pytest.mark.parametrize(
    ("watts_per_litre", "series"),
    [(0.5, WITH_POWER), (0.7, ("temperature",)), (1.0, ("temperature",)), (1.5, ("temperature",))],
)
def test_heaters_of_every_usual_size(watts_per_litre, series):
    tank = Plain(sticks=STUCK, heats=always(watts_per_litre), room=always(22.0))
    assert listen(tank, series).causes[:1] == ["heater_stuck_on"]
