"""What is usual, in words: the band of the hour, the days of learning, and what guards meanwhile."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.units.display import display
from collector.wording.usual import guards, usual_text
from rules import (
    FlatLineLimits,
    GapLimits,
    Learning,
    LimitAlarm,
    PoorFit,
    Priority,
    RateAlarm,
    SeriesRules,
    WeekProfile,
)
from tests.wording.example import HOUR, NOW

DAY = 24 * HOUR
BARE = SeriesRules("reef", "temperature", "temperature")
LIMITS = (LimitAlarm(23.0, False, True, 0.1, 0, 0, Priority.URGENT),)
GUARDED = replace(
    BARE,
    limit_alarms=LIMITS,
    rate_alarm=RateAlarm(0.5, HOUR, 0, 0, Priority.LOW),
    flat_line=FlatLineLimits(0.01, HOUR, 2 * HOUR),
    gap=GapLimits(HOUR),
)
PROFILE = WeekProfile(
    "Europe/Madrid",
    (tuple(25.0 + 0.01 * slot for slot in range(96)),),
    (0.2,) * 96,
    0.99,
    "day",
    0.5,
    28,
    NOW,
)


def test_the_band_of_this_hour_is_shown_with_one_unit() -> None:
    # NOW is 02:45 in the tank's zone: slot 11, 25.11 degC.
    assert usual_text(PROFILE, BARE, NOW) == "24.9 to 25.3 °C"
    assert usual_text(PROFILE, BARE, NOW + 12 * HOUR) == "25.4 to 25.8 °C"


@pytest.mark.parametrize(("quantity", "text"), [("ph", "24.91 to 25.31"), ("volume", "24.9 to 25.3 L")])
def test_each_quantity_has_its_own_digits(quantity, text) -> None:
    assert usual_text(PROFILE, replace(BARE, quantity=quantity), NOW) == text
    assert display(25.31, quantity) in text


def test_nobody_is_told_to_expect_a_power_below_zero() -> None:
    resting = WeekProfile("UTC", ((75.0,) * 96,), (100.0,) * 96, 0.99, "level", 0.0, 28)
    assert usual_text(resting, replace(BARE, quantity="power"), NOW) == "0 to 175 W"
    assert usual_text(resting, BARE, NOW) == "-25.0 to 175.0 °C"


@pytest.mark.parametrize(("age", "is_said"), [(3 * DAY, False), (3 * DAY + 1, True)], ids=["at", "over"])
def test_a_band_of_days_ago_says_so(age, is_said) -> None:
    text = usual_text(replace(PROFILE, until_us=NOW - age), BARE, NOW)
    assert (", as of Wed 02:4" in text) is is_said, text


@pytest.mark.parametrize(
    ("fitted", "day"), [(None, 1), (Learning(0), 1), (Learning(2), 3), (Learning(6), 7), (Learning(7), 7)]
)
def test_learning_counts_the_days_from_one(fitted, day) -> None:
    assert usual_text(fitted, GUARDED, NOW) == (
        f"learning, day {day} of 7: limits, rate, flat line, silence and fault signs guard meanwhile"
    )


def test_only_what_guards_is_said_to() -> None:
    assert guards(BARE) == ()
    assert usual_text(Learning(2), BARE, NOW) == "learning, day 3 of 7: only fault signs guard meanwhile"
    limited = replace(BARE, limit_alarms=LIMITS)
    assert usual_text(Learning(2), limited, NOW) == (
        "learning, day 3 of 7: limits and fault signs guard meanwhile"
    )


@pytest.mark.parametrize("reason", ["coverage", "width", "skill"])
def test_a_poor_fit_says_why_and_what_guards(reason) -> None:
    text = usual_text(PoorFit(reason, 0.8, 1.0), GUARDED, NOW)
    assert text.startswith("no usual pattern, it")
    assert text.endswith(": limits, rate, flat line, silence and fault signs guard")


def test_a_contact_has_nothing_usual() -> None:
    assert usual_text(None, replace(BARE, quantity="contact"), NOW) == ""
