"""Probes in air, each for what air does to it; and cups, cleaning, new water and slow falls that are none.

That salinity falls to next to nothing in air, and that an open glass electrode floats about pH 7 or goes to a
rail, is common practice, no source; a thermometer comes to the room's air with a time constant of minutes.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_probe import BASIC, FAULT, Wrong, always, for_hours, hear

ROOM = (*BASIC, "room_temperature")


def to(goal: float, minutes: float) -> Wrong:
    """Towards a value with a time constant."""
    return lambda since, values: goal + (values - goal) * np.exp(-since * 60.0 / minutes)


def falling(goal: float, hours: float) -> Wrong:
    """Evenly to a value within so many hours."""
    return lambda since, values: values + (goal - values) * np.minimum(since / hours, 1.0)


# -- salinity --------------------------------------------------------------------------------------


@pytest.mark.parametrize("every", [1, 5, 15])
@pytest.mark.parametrize("learns", [False, True], ids=["known", "learning"])
def test_salinity_in_air_is_named_within_the_hour(every: int, learns: bool):
    told = hear({"practical_salinity": to(0.2, 1.0)}, every=every, learns=learns)
    hours, event = told.first("probe_dry")
    assert (event.alarm.series, event.priority) == ("practical_salinity", Priority.HIGH)
    assert hours < (0.5 if every < 15 else 1.0)
    assert "probe_stuck" not in told.causes


# A cell half in air: 0.65 of 35 is 22.75.
@pytest.mark.parametrize(("value", "is_named"), [(17.5, True), (22.7, True), (22.9, False)])
def test_a_step_to_half_is_a_cell_half_in_air(value: float, is_named: bool):
    told = hear({"practical_salinity": always(value)})
    assert ("probe_dry" in told.causes) is is_named


# From three quarters to two fifths (26.25 to 14) within half an hour; here at 0.44 a minute times the pace.
@pytest.mark.parametrize(("hours", "is_named"), [(0.8, True), (1.2, False)])
def test_water_loses_its_salt_more_slowly(hours: float, is_named: bool):
    told = hear({"practical_salinity": falling(12.0, hours)})
    assert ("probe_dry" in told.causes) is is_named


def test_a_tide_that_always_jumps_to_half_is_water():
    """Fronts pass every hour: what the series jumps by every day is no probe."""

    def all_along(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        hour = np.arange(len(values)) / 4.0
        return np.where(hour % 2.0 < 1.0, 17.0, 35.0)

    told = hear({"practical_salinity": all_along}, ("practical_salinity",), every=15, whole=True)
    assert "probe_dry" not in told.causes


# -- pH --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("goal", [7.0, 7.3, 14.0, 1.0], ids=["open", "open, high", "rail", "low rail"])
def test_ph_in_air_is_named_within_the_hour(goal: float):
    told = hear({"ph": to(goal, 5.0)})
    hours, event = told.first("probe_dry")
    assert event.alarm.series == "ph"
    assert hours < 1.0


# Rails are beyond 3 and 12 (common practice, no source).
@pytest.mark.parametrize(("value", "is_named"), [(11.9, False), (12.0, True), (3.0, True), (3.1, False)])
def test_beyond_a_rail_it_is_no_water(value: float, is_named: bool):
    told = hear({"ph": for_hours(1.5, value)})
    assert ("probe_dry" in told.causes) is is_named


@pytest.mark.parametrize(("fall", "is_named"), [(0.55, False), (0.8, True)])
def test_a_fall_of_ph_must_be_more_than_of_what_people_dose(fall: float, is_named: bool):
    """Usual is 8.2 +/- 0.12; at once by so much, to where an open electrode may be."""
    told = hear({"ph": lambda since, values: values - fall})
    assert ("probe_dry" in told.causes) is is_named


def test_ph_that_falls_with_temperature_and_salinity_is_new_water():
    told = hear(
        {
            "ph": lambda since, values: values - 0.8,
            "temperature": lambda since, values: values - 0.6,
            "practical_salinity": lambda since, values: values - 1.0,
        }
    )
    assert "probe_dry" not in told.causes


# -- temperature -----------------------------------------------------------------------------------


@pytest.mark.parametrize("names", [BASIC, ROOM], ids=["alone", "room"])
@pytest.mark.parametrize("minutes", [3.0, 7.0])
def test_a_thermometer_in_air_is_named_within_the_hour(names: tuple[str, ...], minutes: float):
    told = hear({"temperature": to(20.5, minutes)}, names, equipment=frozenset())
    hours, event = told.first("probe_dry")
    assert (event.alarm.series, event.evidence.reasons[0].sign) == ("temperature", Sign.BAND)
    assert hours < 0.75
    confidence = event.evidence.confidence or 0.0
    assert confidence == pytest.approx(0.9 if len(names) > len(BASIC) else 0.7)


# The usual band ends at 25.1 or so; two degrees beyond it no water change comes, 0.8 where a room agrees.
@pytest.mark.parametrize(("value", "is_named"), [(23.4, False), (22.8, True)])
def test_how_far_a_thermometer_must_fall_alone(value: float, is_named: bool):
    told = hear({"temperature": to(value, 2.0)}, equipment=frozenset())
    assert ("probe_dry" in told.causes) is is_named


def test_a_room_that_is_elsewhere_speaks_against_it():
    told = hear({"temperature": to(15.0, 3.0), "room_temperature": always(21.0)}, ROOM, equipment=frozenset())
    assert "probe_dry" not in told.causes


@pytest.mark.parametrize("hours", [6.0, 12.0])
def test_water_that_cools_to_the_room_is_no_probe(hours: float):
    """A body of water takes hours for what a probe does in minutes."""
    told = hear({"temperature": to(20.5, hours * 60.0)}, ROOM, equipment=frozenset())
    assert "probe_dry" not in told.causes


# -- level -----------------------------------------------------------------------------------------


def test_a_level_that_is_at_once_nothing_is_named_when_a_water_change_would_be_over():
    told = hear({"sump_level": always(0.0)})
    hours, event = told.first("probe_dry")
    assert event.alarm.series == "sump_level"
    assert 0.9 < hours < 1.5


GAUGES = ("gauge", "gauge_2")


# A twentieth of 22 is 1.1.
@pytest.mark.parametrize(("left", "is_named"), [(1.0, True), (1.05, True), (1.2, False)])
def test_a_level_that_came_down_slowly_stands_at_its_own_zero(left: float, is_named: bool):
    told = hear({"gauge": falling(left, 4.0)}, GAUGES, noise=0.01)
    assert ("probe_dry" in told.causes) is is_named
    assert told.of("gauge_2") == []


def test_a_sump_that_ran_empty_is_a_leak_with_that_rival():
    told = hear({"sump_level": falling(0.2, 4.0)}, noise=0.01)
    assert told.of("sump_level")[0] == "leak"


# Within 0.02 of 22 for three quarters of an hour: 0.44 cm.
@pytest.mark.parametrize(("swing", "is_named"), [(0.1, True), (0.2, True), (0.3, False)])
def test_a_level_that_still_moves_is_water(swing: float, is_named: bool):
    def shallow(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        down = values + (0.45 - values) * np.minimum(since / 4.0, 1.0)
        return np.where(since < 4.0, down, 0.45 + swing * np.sin(2.0 * np.pi * since / 0.75))

    assert ("probe_dry" in hear({"gauge": shallow}, GAUGES, noise=0.01).causes) is is_named


@pytest.mark.parametrize("every", [15, 60])
def test_a_gauge_that_is_read_against_a_datum_has_no_zero_of_its_own(every: int):
    def tide(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        hour = np.arange(len(values)) * every / 60.0
        return 60.0 * np.sin(2.0 * np.pi * hour / 12.42)

    told = hear({"sump_level": tide}, ("sump_level",), every=every, whole=True, learns=True)
    assert "probe_dry" not in told.causes


def test_a_low_tide_above_the_gauge_is_water():
    """It turns within a centimetre for half an hour, but at a fifth of the high water."""

    def tide(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        hour = np.arange(len(values)) / 4.0
        return 60.0 + 48.0 * np.sin(2.0 * np.pi * hour / 12.42)

    told = hear({"sump_level": tide}, ("sump_level",), every=15, whole=True, learns=True)
    assert "probe_dry" not in told.causes


# -- hands -----------------------------------------------------------------------------------------

_IN_AIR: dict[str, Callable[[float], Wrong]] = {
    "temperature": lambda hours: lambda since, v: np.where(since < hours, 22.0, v),
    "ph": lambda hours: for_hours(hours, 7.1),
    "practical_salinity": lambda hours: for_hours(hours, 0.1),
    "sump_level": lambda hours: for_hours(hours, 0.0),
}


# The on-delay is ten minutes, and a step sees what lasts for most of its five.
@pytest.mark.parametrize("name", BASIC)
@pytest.mark.parametrize(("minutes", "is_quiet"), [(8, True), (10, True), (25, False)])
def test_a_probe_that_is_cleaned_is_passed_over(name: str, minutes: int, is_quiet: bool):
    told = hear({name: _IN_AIR[name](minutes / 60.0)}, equipment=frozenset())
    # A sump may be emptied for an hour.
    assert ("probe_dry" not in told.causes) is (is_quiet or name == "sump_level")


@pytest.mark.parametrize("name", ["ph", "practical_salinity"])
def test_of_a_slow_probe_one_reading_is_not_believed(name: str):
    assert "probe_dry" not in hear({name: _IN_AIR[name](0.2)}, every=15).causes
    assert "probe_dry" in hear({name: _IN_AIR[name](0.7)}, every=15).causes


def test_it_is_over_soon_after_the_probe_is_back():
    told = hear({"practical_salinity": for_hours(3.0, 0.1)})
    (hours,) = [hours for hours, event in told.returned if event.alarm.cause == "probe_dry"]
    assert 3.0 < hours < 3.6


def test_a_water_change_is_no_dry_probe():
    """A fifth of the water in an hour, colder and a little fresher (common practice, no source)."""

    def after(size: float) -> Wrong:
        return lambda since, values: (
            values - size * np.minimum(since, 1.0) * np.exp(-np.maximum(since - 1, 0))
        )

    wrong = {
        "temperature": after(0.5),
        "ph": after(0.1),
        "practical_salinity": after(0.4),
        "sump_level": for_hours(0.6, 0.5),
    }
    assert "probe_dry" not in hear(wrong, hours=FAULT + 12.0).causes
