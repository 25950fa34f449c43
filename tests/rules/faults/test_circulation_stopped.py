"""Circulation stopped: the sump rises at once and stays, or the pump takes nothing, longer than any pause."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_tank import FAULT, Plain, from_fault, listen

SUMP = frozenset({"heater", "return_pump", "top_off"})
BY_HAND = frozenset({"heater", "return_pump"})
LEVEL = ("temperature", "sump_level")
POWER = ("temperature", "sump_level", "return_pump_power")
STOPPED = Plain(pump=from_fault(0.0), hours=FAULT + 6.0)


def paused(minutes: float, hour_of_day: float | None = None) -> Plain:
    """The pump stands for some minutes at the fault, or every day at an hour."""

    def pump(hour: float) -> float:
        since = hour - FAULT if hour_of_day is None else hour % 24.0 - hour_of_day
        return 0.0 if 0.0 <= since < minutes / 60.0 else 1.0

    return Plain(pump=pump, hours=FAULT + 30.0)


@pytest.mark.parametrize(("series", "sure"), [(LEVEL, 0.7), (POWER, 0.9)], ids=["level alone", "power too"])
def test_it_is_told_an_hour_after_the_pump_stopped(series, sure):
    told = listen(STOPPED, series, equipment=SUMP)
    assert told.causes[0] == "circulation_stopped"
    hours, event = told.raised[0]
    assert 1.0 < hours < 1.25
    assert event.priority is Priority.URGENT
    assert event.evidence.confidence == sure
    assert event.alarm.series == "sump_level"


def test_the_reasons_say_by_how_much_the_sump_rose_and_since_when():
    evidence = listen(STOPPED, LEVEL, equipment=SUMP).raised[0][1].evidence
    level, rise = evidence.reasons
    assert level.sign is Sign.LEVEL
    assert rise.sign is Sign.CHANGE
    assert rise.value == pytest.approx(2.5, abs=0.3)


# A water change takes up to an hour (common practice, no source): just under, and just over the parameter.
@pytest.mark.parametrize(("minutes", "is_told"), [(30.0, False), (55.0, False), (75.0, True)])
@pytest.mark.parametrize("series", [LEVEL, POWER], ids=["level alone", "power too"])
def test_only_what_outlasts_a_pause_is_told(minutes, is_told, series):
    told = listen(paused(minutes), series, equipment=SUMP)
    assert ("circulation_stopped" in told.causes) is is_told


def test_it_returns_to_normal_when_the_pump_runs_again():
    told = listen(paused(120.0), POWER, equipment=SUMP)
    assert told.causes == ["circulation_stopped"]
    assert 2.0 < told.returned[0][0] < 2.5


def test_a_daily_feeding_is_none():
    assert listen(paused(25.0, 18.0), LEVEL, equipment=SUMP).causes == []


def test_who_fills_up_by_hand_makes_the_same_step():
    """Two centimetres every evening, which evaporation takes away by the next."""
    hours = np.arange(int(200.0 * 12)) / 12.0
    level = 21.0 - 2.0 * (((hours - 19.0) % 24.0) / 24.0)
    for equipment in (SUMP, BY_HAND):
        told = listen(Plain(hours=200.0), LEVEL, equipment=equipment, changed={"sump_level": level})
        assert "circulation_stopped" not in told.causes


def test_a_level_that_goes_on_rising_is_an_overdose():
    hours = np.arange(int((FAULT + 6.0) * 12)) / 12.0
    _, columns = Plain(hours=FAULT + 6.0).live()
    level = columns["sump_level"] + 2.0 * np.maximum(0.0, hours - FAULT)
    told = listen(Plain(hours=FAULT + 6.0), LEVEL, equipment=SUMP, changed={"sump_level": level})
    assert "circulation_stopped" not in told.causes


def test_a_hole_in_the_readings_is_no_standing_pump():
    """Ten minutes at rest, an hour without readings, ten minutes at rest again."""
    _, columns = Plain(hours=FAULT + 3.0).live()
    hours = np.arange(len(columns["sump_level"])) / 12.0
    level = columns["sump_level"].copy()
    since = hours - FAULT
    level[(since >= 0.0) & (since < 1.4)] += 2.5
    level[(since >= 0.2) & (since < 1.2)] = np.nan
    told = listen(Plain(hours=FAULT + 3.0), LEVEL, equipment=SUMP, changed={"sump_level": level})
    assert "circulation_stopped" not in told.causes
