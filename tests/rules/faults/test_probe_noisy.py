"""Readings that scatter; and rough hours, displays and hands that are none.

Where a limit is tried, noise is a value that alternates by a known amount, so that no chance is in it.
"""

from __future__ import annotations

import numpy as np
import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_probe import BASIC, FAULT, NOISE, Wrong, hear

AMOUNT = 0.02


def scatter(times: float, name: str, seed: int = 3, hours: float = 1e9) -> Wrong:
    """Noise so many times what it was, as a loose plug makes it (common practice, no source)."""
    rng = np.random.default_rng(seed)
    size = NOISE.get(name, 0.02) * times
    return lambda since, values: values + (since < hours) * size * rng.standard_normal(len(values))


def alternating(hour: np.ndarray, amount: np.ndarray | float) -> np.ndarray:
    """Up and down by an amount, and once in five readings by the last digit, so that this is known."""
    place = np.arange(len(hour)) % 5
    return 35.0 + amount * np.where((place == 2) | (place == 4), 1.0, -1.0) + 0.0001 * (place == 1)


@pytest.mark.parametrize("name", BASIC)
@pytest.mark.parametrize("learns", [False, True], ids=["known", "learning"])
def test_each_probe_that_scatters_is_named_within_hours(name: str, learns: bool):
    told = hear({name: scatter(8.0, name)}, learns=learns)
    hours, event = told.first("probe_noisy")
    assert (event.alarm.series, event.priority) == (name, Priority.HIGH)
    assert 1.0 < hours < 3.0
    assert [reason.sign for reason in event.evidence.reasons] == [Sign.NOISE]


@pytest.mark.parametrize("name", BASIC)
def test_a_pump_set_stronger_is_no_fault(name: str):
    """Twice the noise (common practice, no source)."""
    assert "probe_noisy" not in hear({name: scatter(np.sqrt(3.0), name)}, hours=FAULT + 48.0).causes


def heard_alternating(before: float, after: float, rough: float = 0.0, hours: float = 12.0) -> list[str]:
    """Alternates by `before`, in one hour of the second day by `rough`, and by `after` from the fault on."""

    def alternate(hour: np.ndarray) -> np.ndarray:
        amount = np.where((hour >= 60.0) & (hour < 61.0), max(rough, before), before)
        return alternating(hour, np.where(hour >= FAULT, after, amount))

    hour = np.arange(0, int((FAULT + hours) * 60)) / 60.0
    return hear_column(alternate(hour))


def hear_column(values: np.ndarray, every: int = 1) -> list[str]:
    hours = len(values) * every / 60.0
    # The whole record is given, and what the plain tank shows of it is put aside.
    told = hear(
        {"practical_salinity": lambda since, shown: values[-len(shown) :]},
        names=("practical_salinity",),
        hours=hours,
        every=every,
        whole=True,
        digits={"practical_salinity": 0.0001},
    )
    return [event.alarm.cause for hours, event in told.raised if hours > 0.0]


# 3.2 times the noise of three days.
@pytest.mark.parametrize(("times", "is_named"), [(3.0, False), (3.1, False), (3.21, True), (3.3, True)])
def test_the_factor_of_what_is_usual(times: float, is_named: bool):
    assert ("probe_noisy" in heard_alternating(AMOUNT, times * AMOUNT + 1e-4)) is is_named


# And 1.2 times the roughest hour of these days.
@pytest.mark.parametrize(("times", "is_named"), [(1.1, False), (1.21, True), (1.5, True)])
def test_the_roughest_hour_before_is_exceeded(times: float, is_named: bool):
    assert ("probe_noisy" in heard_alternating(AMOUNT, times * 0.1, rough=0.1, hours=4.0)) is is_named


def test_what_lasts_longer_than_a_rough_hour_need_not_exceed_it():
    assert "probe_noisy" in heard_alternating(AMOUNT, 0.1, rough=0.1, hours=12.0)


def test_noise_that_lasts_is_one_alarm_until_the_days_habit_has_taken_it_up():
    """A day is what the gate knows, so that after the better part of it noise is the habit; it rings once."""
    told = hear({"ph": scatter(8.0, "ph")}, hours=FAULT + 48.0)
    assert told.of("ph").count("probe_noisy") == 1
    assert all(hours > 12.0 for hours, event in told.returned if event.alarm.cause == "probe_noisy")


def test_hands_that_stir_for_three_quarters_of_an_hour_are_passed_over():
    told = hear({"practical_salinity": scatter(8.0, "practical_salinity", hours=0.75)})
    assert "probe_noisy" not in told.causes


@pytest.mark.parametrize(("name", "digit"), [("ph", 0.05), ("temperature", 0.1), ("practical_salinity", 0.1)])
def test_a_display_with_a_digit_less_from_now_on_is_not_noisy(name: str, digit: float):
    told = hear({name: lambda since, values: np.round(values / digit) * digit}, hours=FAULT + 48.0)
    assert "probe_noisy" not in told.of(name)


@pytest.mark.parametrize("every", [15, 30])
def test_a_probe_that_gives_few_readings_is_judged_from_one_to_the_next(every: int):
    told = hear({"practical_salinity": scatter(15.0, "practical_salinity")}, every=every)
    hours, event = told.first("probe_noisy")
    assert event.alarm.series == "practical_salinity"
    assert hours < 20.0


def test_water_that_begins_to_go_up_and_down_is_not_noise():
    """A tide of two units reaches a probe that gives a reading every quarter of an hour."""
    told = hear(
        {"practical_salinity": lambda since, values: values + np.sin(2.0 * np.pi * since / 12.4)},
        names=("practical_salinity",),
        every=15,
        hours=FAULT + 48.0,
        learns=True,
    )
    assert "probe_noisy" not in told.causes


def test_what_is_no_probe_of_the_water_is_not_judged():
    names = (*BASIC, "room_temperature")
    told = hear({"room_temperature": scatter(10.0, "room_temperature")}, names=names)
    assert "probe_noisy" not in told.of("room_temperature")
