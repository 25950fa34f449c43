"""The profile as data: one answer however it is asked, JSON and back, and the clock on the wall."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import HOUR_US, WeekProfile, fit_baseline
from rules.baseline import YearWave
from rules.baseline.day_grid import day_grid
from rules.local_time import DAY_US, QUARTER_US

# Both changes of 2026 in two zones; Lord Howe Island moves its clock by half an hour.
CHANGES = [
    ("Europe/Berlin", "2026-03-29", 23.0),
    ("Europe/Berlin", "2026-10-25", 25.0),
    ("America/Chicago", "2026-03-08", 23.0),
    ("America/Chicago", "2026-11-01", 25.0),
    ("Australia/Lord_Howe", "2026-10-04", 23.5),
    ("Australia/Lord_Howe", "2026-04-05", 24.5),
]


def midnight_us(zone: str, day: str, days: int = 0) -> int:
    """When it is midnight on the wall, so many days after a date."""
    local = datetime.fromisoformat(day).replace(tzinfo=ZoneInfo(zone)) + timedelta(days=days)
    return round(local.timestamp()) * 1_000_000


def quarters(from_us: int, to_us: int) -> np.ndarray:
    return np.arange(from_us, to_us, QUARTER_US, dtype=np.int64)


def lit(times: np.ndarray, zone: str) -> np.ndarray:
    """Lamps from nine to nine by the clock on the wall, told by the standard library."""
    hours = [datetime.fromtimestamp(at / 1e6, UTC).astimezone(ZoneInfo(zone)).hour for at in times.tolist()]
    return np.array([26.0 if 9 <= hour < 21 else 25.0 for hour in hours])


@pytest.mark.parametrize(("zone", "day", "hours"), CHANGES, ids=lambda one: str(one))
def test_lights_follow_the_clock_on_the_wall_over_its_change(zone, day, hours):
    start, change, after = (midnight_us(zone, day, days) for days in (-14, 0, 1))
    assert (after - change) / HOUR_US == hours
    # Learnt before the change, right on the day of it and on those after it.
    before = quarters(start, change)
    profile = fit_baseline(before, lit(before, zone), zone, "temperature")
    assert isinstance(profile, WeekProfile)
    later = quarters(change, midnight_us(zone, day, 3))
    low, high = profile.expect(later)
    values = lit(later, zone)
    assert np.all((low < values) & (values < high))
    assert np.all(high - low < 0.6)
    # Learnt across it, too.
    across = quarters(midnight_us(zone, day, -7), midnight_us(zone, day, 7))
    profile = fit_baseline(across, lit(across, zone), zone, "temperature")
    assert isinstance(profile, WeekProfile)
    assert profile.coverage > 0.99


@pytest.mark.parametrize(("zone", "day", "hours"), CHANGES, ids=lambda one: str(one))
def test_a_day_of_another_length_has_its_quarters_in_the_columns_of_the_wall(zone, day, hours):
    times = quarters(midnight_us(zone, day), midnight_us(zone, day, 1))
    assert len(times) == hours * 4
    grid = day_grid(times, np.arange(len(times), dtype=float), zone)
    assert grid.values.shape == (1, 96)
    # A day that is shorter leaves columns empty, one that is longer has two values in some.
    assert np.isfinite(grid.values).sum() == min(len(times), 96)
    assert grid.values[0, 95] == len(times) - 1
    assert grid.values[0, 0] == 0
    assert grid.weekdays.tolist() == [6]


def test_both_hours_that_show_half_past_two_are_judged_alike():
    """2026-10-25: 02:30 comes twice in central Europe, at 00:30Z and at 01:30Z."""
    first = 1_792_888_200_000_000
    centre = tuple(float(slot) for slot in range(96))
    profile = WeekProfile("Europe/Berlin", (centre,), (0.5,) * 96, 0.99, "day", 0.5, 28)
    assert profile.band_at(first) == profile.band_at(first + HOUR_US) == (9.5, 10.0, 10.5)
    assert profile.band_at(first + 2 * HOUR_US).centre == 14.0


def test_a_week_begins_on_monday_by_the_clock_on_the_wall():
    rows = tuple((float(weekday),) * 96 for weekday in range(7))
    profile = WeekProfile("Pacific/Auckland", rows, (0.5,) * 96, 0.99, "week", 0.5, 28)
    # Monday 2026-11-02 begins in Auckland while it is still Sunday, 11:00, in UTC.
    monday_us = round(datetime(2026, 11, 1, 11, tzinfo=UTC).timestamp()) * 1_000_000
    assert profile.band_at(monday_us - 1).centre == 6.0
    assert [profile.band_at(monday_us + day * DAY_US).centre for day in range(7)] == list(range(7))


# -- one answer ------------------------------------------------------------------------------------

numbers = st.floats(-1e3, 1e3)
widths = st.floats(0.001, 50.0)


@st.composite
def profiles(draw) -> WeekProfile:
    rows = draw(st.sampled_from([1, 7]))
    base, push = draw(numbers), draw(widths)
    centre = tuple(tuple(base + push * ((row * 96 + slot) % 17) for slot in range(96)) for row in range(rows))
    season = draw(st.none() | st.builds(YearWave, numbers, numbers))
    return WeekProfile(
        draw(st.sampled_from(["UTC", "Europe/Berlin", "America/Chicago", "Asia/Kathmandu"])),
        centre,
        tuple(draw(widths) for _ in range(1)) * 96,
        draw(st.floats(0.95, 1.0)),
        draw(st.sampled_from(["level", "day", "week"])),
        draw(st.floats(0.0, 1.0)),
        draw(st.integers(7, 28)),
        draw(st.integers(0, 2 * 10**15)),
        season,
        0 if season is None else draw(st.integers(0, 2 * 10**15)),
    )


instants = st.lists(st.integers(10**15, 2 * 10**15), min_size=1, max_size=20)


@given(profile=profiles(), times=instants)
def test_asked_one_by_one_or_at_once_the_answer_is_the_same(profile, times):
    low, high = profile.expect(np.array(times, np.int64))
    bands = [profile.band_at(at) for at in times]
    assert [(band.low, band.high) for band in bands] == list(zip(low.tolist(), high.tolist(), strict=True))
    assert all(band.low < band.centre < band.high for band in bands)


@given(profile=profiles(), at=st.integers(10**15, 2 * 10**15), within=st.integers(0, QUARTER_US - 1))
def test_within_a_quarter_of_an_hour_nothing_changes(profile, at, within):
    start = at - at % QUARTER_US
    assert profile.band_at(start) == profile.band_at(start + within)


@given(profile=profiles(), at=st.integers(10**15, 2 * 10**15))
def test_it_survives_json(profile, at):
    again = WeekProfile.from_data(json.loads(json.dumps(profile.to_data())))
    assert again == profile
    assert again.band_at(at) == profile.band_at(at)


def test_a_long_time_of_asking_keeps_no_more_bands():
    profile = WeekProfile("Europe/Berlin", ((25.0,) * 96,), (0.2,) * 96, 0.99, "level", 0.0, 28)
    for quarter in range(10_000):
        profile.band_at(1_773_619_200_000_000 + quarter * QUARTER_US)
    assert len(profile._bands) <= 1024


@pytest.mark.parametrize("rows", [0, 2, 6, 8])
def test_a_table_of_another_shape_is_refused(rows):
    with pytest.raises(ValueError, match="1 or 7 rows of 96"):
        WeekProfile("UTC", ((25.0,) * 96,) * rows, (0.2,) * 96, 0.99, "week", 0.0, 28)


def test_a_season_moves_the_centre_from_where_it_stood():
    year_us = round(365.2425 * DAY_US)
    fitted_us = 1_773_619_200_000_000
    season = YearWave(0.0, 3.0)
    profile = WeekProfile(
        "UTC", ((20.0,) * 96,), (0.5,) * 96, 0.99, "level", 0.0, 28, fitted_us, season, fitted_us
    )
    assert profile.band_at(fitted_us).centre == pytest.approx(20.0)
    half_a_year_on = profile.band_at(fitted_us + year_us // 2).centre
    assert half_a_year_on - 20.0 == pytest.approx(-2 * season.at(fitted_us), abs=1e-3)
    # A year is no whole number of quarters, within which nothing changes.
    assert profile.band_at(fitted_us + year_us).centre == pytest.approx(20.0, abs=1e-3)
