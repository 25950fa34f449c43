"""Cooling lost: water rises through where a chiller or fans usually turn it."""

from __future__ import annotations

import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_tank import FAULT, Plain, from_fault, listen

COOLED = frozenset({"heater", "chiller"})
WITH_POWER = ("temperature", "chiller_power")
LOST = from_fault(0.0)


# Hours to +1 K without the chiller in a room of 30 degC, computed: 2.27, 3.17 and 3.95.
@pytest.mark.parametrize(("volume", "hours_to_one"), [(80.0, 2.27), (400.0, 3.17), (1500.0, 3.95)])
@pytest.mark.parametrize("series", [("temperature",), WITH_POWER], ids=["temperature alone", "power too"])
def test_it_is_named_before_a_degree_is_gained(volume, hours_to_one, series):
    told = listen(Plain(volume, is_chilled=True, chills=LOST), series, equipment=COOLED)
    assert told.causes[0] == "cooling_lost"
    assert 0.0 < told.raised[0][0] < hours_to_one / 1.5


def test_power_makes_it_surer_and_urgent_at_once():
    tank = Plain(is_chilled=True, chills=LOST)
    alone = listen(tank, equipment=COOLED).first("cooling_lost")[1]
    told = listen(tank, WITH_POWER, equipment=COOLED).first("cooling_lost")[1]
    assert alone.evidence.confidence <= 0.75
    assert alone.priority is Priority.HIGH
    assert told.evidence.confidence > 0.85
    assert told.priority is Priority.URGENT
    assert [reason.sign for reason in told.evidence.reasons] == [Sign.POWER, Sign.BAND, Sign.SLOPE]


def test_a_chiller_at_full_power_is_not_lost():
    """The room wins: the limits speak, no piece of equipment has failed."""
    tank = Plain(is_chilled=True, room=lambda hour: 30.0 if hour < FAULT else 45.0)
    assert "cooling_lost" not in listen(tank, WITH_POWER, equipment=COOLED).causes


def test_without_cooling_equipment_it_is_not_looked_for():
    tank = Plain(is_chilled=True, chills=LOST)
    assert "cooling_lost" not in listen(tank).causes


def test_a_fan_counts_as_cooling():
    tank = Plain(is_chilled=True, chills=LOST)
    told = listen(tank, equipment=frozenset({"fan"}))
    assert told.causes[0] == "cooling_lost"


def test_quiet_weeks_of_a_chilled_tank_ring_nothing():
    tank = Plain(is_chilled=True, lamps=lambda hour: 0.2 if 10 <= hour % 24 < 20 else 0.0, hours=200.0)
    for series in (("temperature",), WITH_POWER):
        assert listen(tank, series, equipment=COOLED).causes == []


@pytest.mark.parametrize("resolution", [0.0625, 0.1])
def test_a_slow_rise_is_seen_through_a_coarse_last_digit(resolution):
    """1500 L rise by 0.27 degC/h at first and slower then."""
    tank = Plain(1500.0, is_chilled=True, chills=LOST, resolution=resolution, hours=FAULT + 8.0)
    told = listen(tank, equipment=COOLED)
    assert told.causes[:1] == ["cooling_lost"]
    assert told.raised[0][0] < 4.0


# How far above the highest usual: just under, at and just over the margin, in steps of 1/64 degC.
@pytest.mark.parametrize(("height", "is_on"), [(0.25 - 1 / 64, False), (0.25, True), (0.25 + 1 / 64, True)])
def test_the_margin(height, is_on):
    import numpy as np

    hours = np.arange(int((FAULT + 6.0) * 12)) / 12.0
    tooth = 26.5 + np.abs((hours * 0.5) % 1.0 - 0.5)
    # The usual end of a rise is its 95 % quantile; the plateaus of this saw-tooth make it exactly 27.
    tooth = np.minimum(tooth + 0.0625, 27.0)
    turn = int(np.flatnonzero((hours >= FAULT) & (tooth == 27.0))[0])
    values = tooth.copy()
    values[turn:] = np.minimum(27.0 + 0.25 * (hours[turn:] - hours[turn]), 27.0 + height)
    settings = {"cooling_lost": {"margin": 0.25, "on_delay": 0.0}}
    told = listen(
        Plain(hours=FAULT + 6.0),
        changed={"temperature": values},
        settings=settings,
        equipment=frozenset({"chiller"}),
    )
    assert ("cooling_lost" in told.causes) is is_on
