"""What a stretch shows, by the written rule: each sign just short of it and just beyond, on made-up rows."""

from __future__ import annotations

import numpy as np
import pytest

from tests.recordings.signs import DAY_ROWS, WEEK_ROWS, last_digit, longest_within, roughest, sign_of


def week(rows: int = WEEK_ROWS) -> np.ndarray:
    """Salinity of a tidal water: 18 to 22 twice a day, by a tenth."""
    return np.round(20.0 + 2.0 * np.sin(np.arange(rows) * 2 * np.pi / (DAY_ROWS / 2)), 1)


def sign(own: np.ndarray, *, series: str = "sal", before: np.ndarray | None = None) -> str:
    past = week() if before is None else before
    values = np.concatenate((past, own))
    passed = np.arange(len(values)) < len(past)
    return sign_of(series, values, passed, len(past), len(values) - 1)


# An hour is four rows; the sensor ends at 45.
@pytest.mark.parametrize(("rows", "expected"), [(3, "step"), (4, "impossible"), (5, "impossible")])
def test_impossible_for_an_hour(rows: int, expected: str):
    own = week(DAY_ROWS)
    own[10 : 10 + rows] = 99.0
    # What the sensor cannot give tells nothing of steps either.
    assert sign(own) == (expected if rows >= 4 else "nothing")


# Range 18 to 22, a quarter of it is 1.
@pytest.mark.parametrize(("value", "is_away"), [(23.0, False), (23.1, True), (17.0, False), (16.9, True)])
def test_away_is_beyond_the_week_by_a_quarter_of_its_range(value: float, is_away: bool):
    own = week(DAY_ROWS)
    own[40:44] = value
    assert (sign(own) == "away") is is_away


def test_away_must_show_within_the_first_day():
    own = week(3 * DAY_ROWS)
    own[2 * DAY_ROWS : 2 * DAY_ROWS + 8] = 24.0
    assert sign(own) != "away"


# A twentieth of 22 is 1.1.
@pytest.mark.parametrize(("value", "is_empty"), [(1.11, False), (1.1, False), (1.09, True)])
def test_a_level_is_empty_below_a_twentieth_of_the_weeks_highest(value: float, is_empty: bool):
    tide = np.concatenate((np.linspace(2.0, 22.0, 24), np.linspace(22.0, 2.0, 24)))
    past = np.tile(tide, 14)
    own = np.concatenate((tide, np.full(4, value), tide))
    assert (sign(own, series="stage", before=past) == "empty") is is_empty
    assert sign(own, series="sal", before=past) != "empty"


def test_still_is_twice_as_long_as_ever():
    past = week()
    longest = longest_within(past, 0.25)
    assert sign(np.concatenate((week(24), np.full(2 * longest, 20.0)))) == "still"
    assert sign(np.concatenate((week(24), np.full(longest, 20.0)))) == "nothing"


def test_rough_is_twice_the_roughest_three_hours():
    rng = np.random.default_rng(1)
    past = np.round(20.0 + 0.1 * rng.standard_normal(WEEK_ROWS), 2)
    noise = rng.standard_normal(DAY_ROWS)
    # Within the range of the week, so that it is not away.
    assert sign(np.round(20.0 + 0.1 * noise, 2), before=past) == "nothing"
    assert sign(np.where(np.arange(DAY_ROWS) % 2, 20.25, 19.75), before=past) == "rough"


@pytest.mark.parametrize(("size", "expected"), [(0.5, "nothing"), (0.6, "step")])
def test_a_step_is_twice_the_greatest_between_neighbours(size: float, expected: str):
    past = week()
    assert np.abs(np.diff(past)).max() == pytest.approx(0.3)
    assert sign(past[-1] + size + 0.0 * week(3), before=past) == expected


def test_without_a_day_to_hold_it_against_nothing_is_known():
    assert sign(week(20), before=week(DAY_ROWS - 1)) == "unknown"
    assert sign(week(20), before=week(DAY_ROWS)) != "unknown"


def test_parts():
    assert last_digit(np.array([7.0, 7.1, 7.1, 7.4])) == pytest.approx(0.1)
    assert last_digit(np.ones(3)) == 0.0
    assert longest_within(np.array([1.0, 1.1, 1.0, 1.3, 1.3]), 0.15) == 3
    assert roughest(np.arange(14.0)) == 0.0
    assert roughest(np.tile([0.0, 1.0], 10)) == 1.0
