"""The median day: what it learns, what it leaves out, and the clock on the wall."""

from __future__ import annotations

import numpy as np
import pytest

from rules import DAYS_NEEDED, HOUR_US, DayProfile, Learning, fit_day_profile
from rules.local_time import DAY_US, time_of_day_us

# 2026-03-16T00:00:00Z: two weeks from here hold the European clock change of 2026-03-29.
START_US = 1_773_619_200_000_000


def quarters(days: int) -> np.ndarray:
    return START_US + np.arange(days * 96, dtype=np.int64) * (HOUR_US // 4)


def day(times: np.ndarray) -> np.ndarray:
    return 25.5 + 0.4 * np.sin(times / DAY_US * 2 * np.pi)


def test_the_band_follows_the_day_and_holds_its_values():
    times = quarters(14)
    noise = np.random.default_rng(1).normal(0, 0.05, len(times))
    profile = fit_day_profile(times, day(times) + noise, "UTC", "temperature")
    assert isinstance(profile, DayProfile)
    later = quarters(21)[14 * 96 :]
    low, high = profile.expect(later)
    assert np.all((low < day(later)) & (day(later) < high))
    assert np.all(high - low < 0.6)


@pytest.mark.parametrize(("days", "knows"), [(6, False), (7, True), (8, True)], ids=["under", "at", "over"])
def test_it_is_learning_until_enough_days_exist(days, knows):
    times = quarters(days)
    fitted = fit_day_profile(times, day(times), "UTC", "temperature")
    assert isinstance(fitted, DayProfile) is knows
    if not knows:
        assert fitted == Learning(days)
        assert days < DAYS_NEEDED


def test_what_is_left_out_is_not_learnt():
    times = quarters(14)
    values = day(times)
    values[300:340] = np.nan
    profile = fit_day_profile(times, values, "UTC", "temperature")
    whole = fit_day_profile(times, day(times), "UTC", "temperature")
    assert isinstance(profile, DayProfile)
    assert isinstance(whole, DayProfile)
    np.testing.assert_allclose(profile.low, whole.low, atol=0.02)


def test_one_bad_day_of_fourteen_moves_the_median_little():
    times = quarters(14)
    values = day(times)
    values[96:192] -= 3.0
    spoilt = fit_day_profile(times, values, "UTC", "temperature")
    whole = fit_day_profile(times, day(times), "UTC", "temperature")
    assert isinstance(spoilt, DayProfile)
    assert isinstance(whole, DayProfile)
    np.testing.assert_allclose(spoilt.low, whole.low, atol=0.1)


def test_lights_follow_the_clock_on_the_wall_over_its_change():
    """Lights at nine o'clock local time, before and after 2026-03-29 in a zone of central Europe."""
    zone = "Europe/Berlin"
    before, after = quarters(13), quarters(20)[14 * 96 :]
    lit = lambda times: np.where(time_of_day_us(times, zone) >= 9 * HOUR_US, 26.0, 25.0)  # noqa: E731
    profile = fit_day_profile(before, lit(before), zone, "temperature")
    assert isinstance(profile, DayProfile)
    low, high = profile.expect(after)
    assert np.all((low < lit(after)) & (lit(after) < high))


def test_local_time_of_two_instants_an_hour_apart_in_utc_is_the_same_where_the_clock_goes_back():
    """2026-10-25: 02:30 comes twice in central Europe, at 00:30Z and at 01:30Z."""
    first = 1_792_888_200_000_000
    both = np.array([first, first + HOUR_US], np.int64)
    assert (time_of_day_us(both, "Europe/Berlin") / HOUR_US).tolist() == [2.5, 2.5]
