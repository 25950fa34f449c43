"""A value that stands still, or noise without the water's course; and displays that are only coarse.

That a probe may stand still for hours in good order is what real series show. Steps of 0.0625 degC are those
of a digital thermometer of 12 bits (data sheet of the DS18B20, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from rules import HOUR_US, FlatLineLimits, Priority, Sign
from tests.rules.faults.plain_probe import BASIC, FAULT, Usual, always, for_hours, hear

# A value that no rounder display would show.
STUCK = {"temperature": 25.48, "ph": 8.217, "practical_salinity": 35.03, "sump_level": 20.12}


@pytest.mark.parametrize("name", BASIC)
@pytest.mark.parametrize("learns", [False, True], ids=["known", "learning"])
def test_each_probe_that_stands_still_is_named_within_hours(name: str, learns: bool):
    told = hear({name: always(STUCK[name])}, learns=learns)
    hours, event = told.first("probe_stuck")
    assert (event.alarm.series, event.priority) == (name, Priority.HIGH)
    assert 1.9 < hours < 4.0
    assert [reason.sign for reason in event.evidence.reasons] == [Sign.FLAT]
    # Since the value stands, not since that was long.
    assert abs((event.evidence.reasons[0].since_us or 0) - event.at_us + hours * HOUR_US) < HOUR_US / 4


# A thermostat's cycle takes as long: two hours at least. The newest whole cell decides.
@pytest.mark.parametrize(("minutes", "is_named"), [(110, False), (120, True), (135, True)])
def test_two_hours_are_asked_of_the_liveliest_series(minutes: int, is_named: bool):
    told = hear({"ph": for_hours(minutes / 60.0, STUCK["ph"])})
    assert ("probe_stuck" in told.causes) is is_named


def test_it_is_over_soon_after_the_value_moves_again():
    told = hear({"ph": for_hours(6.0, STUCK["ph"])})
    (hours,) = [hours for hours, event in told.returned if event.alarm.cause == "probe_stuck"]
    assert 6.0 < hours < 6.5


def test_three_times_the_longest_rest_of_these_days_is_asked():
    """The same value that rested for three hours on the day before rests again: nine hours are asked."""

    def rests(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        return np.where((since < 3.0) | (since > 12.0), STUCK["ph"], values)

    told = hear({"ph": rests}, hours=FAULT + 28.0)
    later = [hours for hours, event in told.raised if event.alarm.cause == "probe_stuck" and hours > 12.0]
    assert later
    assert 12.0 + 8.5 < later[0] < 12.0 + 10.0


@pytest.mark.parametrize(
    ("digits", "noise"),
    [({"temperature": 0.0625}, 0.0), ({"temperature": 0.1}, 0.01), ({"ph": 0.1}, 0.005), ({"ph": 0.01}, 0.0)],
    ids=["sixteenths", "tenths", "pH in tenths", "pH in hundredths"],
)
@pytest.mark.parametrize("learns", [False, True], ids=["known", "learning"])
def test_a_coarse_display_is_not_stuck(digits: dict[str, float], noise: float, learns: bool):
    told = hear(hours=FAULT + 72.0, digits=digits, noise=noise, learns=learns)
    assert "probe_stuck" not in told.causes


@pytest.mark.parametrize(("name", "digit"), [("ph", 0.05), ("temperature", 0.1), ("practical_salinity", 0.1)])
def test_a_display_with_a_digit_less_from_now_on_is_not_stuck(name: str, digit: float):
    told = hear({name: lambda since, values: np.round(values / digit) * digit}, hours=FAULT + 48.0)
    assert "probe_stuck" not in told.of(name)


def test_noise_without_the_days_course_is_stuck_too():
    """pH that should swing by 0.8 keeps its noise and nothing else for a day."""
    usual = {"ph": Usual("ph", half=0.2, swing=0.4)}
    rng = np.random.default_rng(5)

    def swings(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        return 8.2 + 0.008 * rng.standard_normal(len(values))

    told = hear({"ph": swings}, baselines=usual, hours=FAULT + 30.0)
    assert "probe_stuck" in told.of("ph")
    _, event = told.first("probe_stuck")
    assert event.evidence.reasons[0].window_us == 24 * HOUR_US


@pytest.mark.parametrize(("after", "is_named"), [(10, True), (12, True), (14, False)])
def test_the_flat_line_test_names_it_where_its_limits_were_set(after: int, is_named: bool):
    """Of a thermometer in the room nothing else is asked: it rests for twelve hours and ten minutes."""
    told = hear(
        {"room_temperature": for_hours(12.0 + 1 / 6, 21.37)},
        names=(*BASIC, "room_temperature"),
        flat_line=FlatLineLimits(0.001, after * HOUR_US // 2, after * HOUR_US),
    )
    assert ("probe_stuck" in told.of("room_temperature")) is is_named


def test_a_hole_in_the_readings_is_no_rest():
    """Ten hours of silence; then the same value as before, once."""

    def away(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        return np.where(since < 10.0, np.nan, values)

    assert "probe_stuck" not in hear({"ph": away}).causes


def test_a_week_of_good_probes_rings_for_nothing():
    assert hear(hours=7 * 24.0).causes == []
