"""Heater weak: it works and does not hold the water."""

from __future__ import annotations

import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_tank import FAULT, Plain, from_fault, listen

WITH_POWER = ("temperature", "heater_power")


@pytest.mark.parametrize("volume", [80.0, 400.0, 1500.0])
def test_one_of_two_heaters_dead_is_named_by_power(volume):
    told = listen(Plain(volume, heats=from_fault(0.2)), WITH_POWER)
    hours, event = told.first("heater_weak")
    assert told.causes[0] == "heater_weak"
    assert hours < 2.0
    assert event.priority is Priority.HIGH
    assert event.evidence.reasons[0].sign is Sign.POWER
    assert event.evidence.reasons[0].value == pytest.approx(0.2 * volume, rel=0.01)


def test_a_slow_sag_is_named_by_temperature_alone():
    """A quarter of the heat of 400 L falls short by 0.08 degC/h at first."""
    told = listen(Plain(heats=from_fault(0.25), hours=FAULT + 24.0))
    assert told.causes[:1] == ["heater_weak"]
    assert told.raised[0][0] < 8.0


def test_a_heater_without_any_heat_is_not_called_weak_by_power():
    assert "heater_weak" not in listen(Plain(heats=from_fault(0.0)), WITH_POWER).causes


def test_a_weak_heater_that_still_holds_the_water_is_none():
    """60 % of the heater is more than the 36 % that a mean day asks for."""
    tank = Plain(heats=from_fault(0.6), hours=FAULT + 48.0)
    for series in (("temperature",), WITH_POWER):
        assert listen(tank, series).causes == []


def test_two_heaters_that_come_on_one_after_the_other_are_none():
    """Every other hour only one of them is on: that is usual here."""
    tank = Plain(heats=lambda hour: 0.6 if int(hour) % 2 else 1.0, hours=FAULT + 48.0)
    assert listen(tank, WITH_POWER).causes == []


def test_an_open_window_speaks_against_a_weak_heater_where_the_room_is_known():
    """Nine degrees colder for three hours, with a heater that has little to spare."""

    def room(hour: float) -> float:
        return 12.0 if FAULT <= hour < FAULT + 3.0 else 21.0

    tank = Plain(heats=lambda hour: 0.45, room=room, hours=FAULT + 8.0)
    assert "heater_weak" not in listen(tank, (*WITH_POWER, "room_temperature")).causes


# Share of full power: just under, at and just over the parameter.
@pytest.mark.parametrize(("share", "is_on"), [(0.24, True), (0.25, True), (0.26, False)])
def test_the_dropped_power(share, is_on):
    """Long before it has been cold for the time that temperature alone needs."""
    tank = Plain(1500.0, heats=from_fault(share), hours=FAULT + 2.0)
    settings = {"heater_weak": {"dropped_power": 0.25, "margin": 5.0}}
    told = listen(tank, WITH_POWER, settings=settings)
    assert ("heater_weak" in told.causes) is is_on
