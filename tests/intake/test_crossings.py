"""Which readings do not wait for the next commit."""

from __future__ import annotations

import math

import pytest

from collector.intake.crossings import Crossings
from rules import LimitAlarm, Priority, SeriesRules


def limit(setpoint: float, *, is_high: bool) -> LimitAlarm:
    return LimitAlarm(setpoint, is_high, False, 0.1, 0, 0, Priority.HIGH)


def crossings() -> Crossings:
    alarms = (
        limit(27.0, is_high=True),
        limit(30.0, is_high=True),
        limit(24.0, is_high=False),
        limit(21.0, is_high=False),
    )
    return Crossings((SeriesRules("reef", "temperature", "temperature", limit_alarms=alarms),))


@pytest.mark.parametrize(
    ("value", "crosses"),
    [
        (23.99, True),
        (24.0, False),
        (24.01, False),
        (26.99, False),
        (27.0, False),
        (27.01, True),
        (math.nan, False),
        (math.inf, True),
    ],
)
def test_a_first_reading_crosses_when_it_is_beyond_a_limit(value: float, crosses: bool) -> None:
    assert crossings().crosses(0, value) is crosses


def test_each_further_limit_and_the_way_back_cross_and_staying_does_not() -> None:
    one = crossings()
    story = [
        (28.0, True),
        (28.5, False),
        (31.0, True),
        (32.0, False),
        (28.0, True),
        (25.0, True),
        (25.1, False),
    ]
    assert [(value, one.crosses(0, value)) for value, _ in story] == story
    story = [
        (23.0, True),
        (20.0, True),
        (20.5, False),
        (22.0, True),
        (25.0, True),
        (20.0, True),
        (31.0, True),
    ]
    assert [(value, one.crosses(0, value)) for value, _ in story] == story


def test_a_series_without_limits_crosses_nothing() -> None:
    assert not Crossings((SeriesRules("reef", "redox", "redox_potential"),)).crosses(0, 1e9)


def test_a_contact_that_closes_crosses() -> None:
    leak = SeriesRules("reef", "leak", "contact", limit_alarms=(limit(0.5, is_high=True),))
    one = Crossings((leak,))
    assert [one.crosses(0, value) for value in (0.0, 1.0, 1.0, 0.0)] == [False, True, False, True]
