"""The fit: what it learns, what it leaves out, what it says of itself, and when it steps back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import DAYS_NEEDED, HOUR_US, Learning, PoorFit, WeekProfile, fit_baseline
from rules.baseline import LEARN_DAYS
from rules.local_time import DAY_US

# 2026-03-16T00:00:00Z, a Monday.
START_US = 1_773_619_200_000_000
QUARTER_US = HOUR_US // 4


def quarters(days: float, from_day: float = 0) -> np.ndarray:
    return START_US + np.arange(int(from_day * 96), int((from_day + days) * 96), dtype=np.int64) * QUARTER_US


def day(times: np.ndarray) -> np.ndarray:
    return 25.5 + 0.4 * np.sin(times / DAY_US * 2 * np.pi)


def noise(times: np.ndarray, seed: int = 1, sigma: float = 0.1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, sigma, len(times))


def fitted(times: np.ndarray, values: np.ndarray, quantity: str = "temperature", **more) -> WeekProfile:
    found = fit_baseline(times, values, "UTC", quantity, **more)
    assert isinstance(found, WeekProfile), found
    return found


# -- what it learns --------------------------------------------------------------------------------


def test_the_band_follows_the_day_and_holds_its_values():
    times = quarters(14)
    profile = fitted(times, day(times) + noise(times, sigma=0.05))
    later = quarters(7, 14)
    low, high = profile.expect(later)
    assert profile.pattern == "day"
    assert profile.skill > 0.5
    assert np.all((low < day(later)) & (day(later) < high))
    assert np.all(high - low < 0.6)


def test_a_timer_makes_edges_that_are_followed_to_the_quarter():
    times = quarters(14)
    lit = lambda at: np.where((at % DAY_US >= 9 * HOUR_US) & (at % DAY_US < 21 * HOUR_US), 120.0, 5.0)  # noqa: E731
    profile = fitted(times, lit(times) + noise(times, sigma=0.5), "power")
    assert profile.pattern == "day with edges"
    assert [profile.band_at(START_US + hour * HOUR_US - 1).centre for hour in (9, 21)] == pytest.approx(
        [5.0, 120.0], abs=1.0
    )
    assert [profile.band_at(START_US + hour * HOUR_US).centre for hour in (9, 21)] == pytest.approx(
        [120.0, 5.0], abs=1.0
    )


def test_a_weekend_of_its_own_is_learnt_as_a_week():
    times = quarters(28)
    # Lights stay off on Sundays, the last day of a week that begins on Monday.
    is_sunday = (times - START_US) // DAY_US % 7 == 6
    values = day(times) - np.where(is_sunday, 0.8, 0.0)
    profile = fitted(times, values + noise(times, sigma=0.03))
    assert profile.pattern.startswith("week")
    assert len(profile.centre) == 7
    noon = START_US + 12 * HOUR_US
    assert profile.band_at(noon + 5 * DAY_US).centre - profile.band_at(noon + 6 * DAY_US).centre > 0.5


def test_a_series_that_only_scatters_has_a_level_and_no_pattern():
    times = quarters(28)
    profile = fitted(times, 8.2 + noise(times, sigma=0.01), "ph")
    assert profile.pattern == "level"
    assert len(set(profile.centre[0])) == 1
    assert profile.skill < 0.03


@pytest.mark.parametrize(("days", "level"), [(3, 35.0), (4, 34.9)], ids=["under", "over"])
def test_a_new_level_within_the_band_is_usual_after_half_a_week_and_not_before(days, level):
    """The level is the median of seven days."""
    times = quarters(21 + days)
    values = np.where(times < START_US + 21 * DAY_US, 35.0, 34.9)
    profile = fitted(times, values + noise(times, sigma=0.01), "practical_salinity")
    assert profile.band_at(int(times[-1])).centre == pytest.approx(level, abs=0.02)


def test_a_level_far_beyond_the_band_is_no_new_usual_for_a_week_and_then_is_learnt():
    """What went wrong yesterday must not take away that by which it is seen."""
    usual = {}
    for days in (2, 6, 12, 18):
        times = quarters(21 + days)
        values = np.where(times < START_US + 21 * DAY_US, 35.0, 34.0) + noise(times, sigma=0.02)
        usual[days] = fit_baseline(times, values, "UTC", "other")
    for days in (2, 6):
        held = usual[days]
        assert isinstance(held, WeekProfile)
        assert held.centre[0] == pytest.approx([35.0] * 96, abs=0.02)
        assert held.until_us == START_US + (21 + days - 7) * DAY_US - QUARTER_US
    # Neither the old nor the new.
    assert isinstance(usual[12], PoorFit)
    learnt = usual[18]
    assert isinstance(learnt, WeekProfile)
    assert learnt.centre[0] == pytest.approx([34.0] * 96, abs=0.02)


def test_only_the_last_four_weeks_count():
    times = quarters(60)
    values = np.where(times < times[-1] - LEARN_DAYS * DAY_US, 20.0, 25.0)
    profile = fitted(times, values)
    assert profile.days == LEARN_DAYS
    assert profile.band_at(int(times[-1])) == pytest.approx((24.8, 25.0, 25.2))


@pytest.mark.parametrize("minutes", [15, 30, 60])
def test_a_probe_that_reports_seldom_is_learnt_too(minutes):
    times = quarters(14)[:: minutes // 15]
    profile = fitted(times, day(times))
    later = quarters(1, 14)
    low, high = profile.expect(later)
    assert np.all((low < day(later)) & (day(later) < high))


# -- coverage --------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("days", [7, 14, 28])
def test_coverage_is_what_it_says_on_noise_that_is_known(days, seed):
    """Four later weeks of the same Gaussian noise; the share within is that which was stated, to 1 %."""
    times, later = quarters(days), quarters(28, days)
    profile = fitted(times, day(times) + noise(times, seed), "other")
    low, high = profile.expect(later)
    values = day(later) + noise(later, seed + 100)
    held = float(np.mean((values >= low) & (values <= high)))
    assert held == pytest.approx(profile.coverage, abs=0.01)
    assert held > 0.985


def test_hours_that_go_wrong_together_make_the_band_wide_enough_for_tomorrow():
    """Autocorrelated noise (lag-one 0.98: hours), thirty nights, each judged by the fit of its evening."""
    rng = np.random.default_rng(5)
    times = quarters(58)
    wander = np.zeros(len(times))
    for place, push in enumerate(rng.normal(0, 0.1 * np.sqrt(1 - 0.98**2), len(times))):
        wander[place] = 0.98 * wander[place - 1] + push
    values = day(times) + wander
    held, stated = [], []
    for night in range(28, 58):
        seen = slice((night - 28) * 96, night * 96)
        profile = fitted(times[seen], values[seen], "other")
        tomorrow = slice(night * 96, (night + 1) * 96)
        low, high = profile.expect(times[tomorrow])
        held.append(np.mean((values[tomorrow] >= low) & (values[tomorrow] <= high)))
        stated.append(profile.coverage)
    assert np.mean(held) == pytest.approx(np.mean(stated), abs=0.02)
    assert np.mean(held) > 0.97


# -- what it leaves out ----------------------------------------------------------------------------


@settings(max_examples=10)
@given(data=st.data())
def test_garbage_in_excluded_stretches_changes_nothing(data):
    times = quarters(14)
    values = day(times) + noise(times, sigma=0.05)
    starts = data.draw(st.lists(st.integers(0, 13 * 96), min_size=1, max_size=4))
    excluded = [(int(times[s]), int(times[s]) + data.draw(st.integers(1, 8 * HOUR_US))) for s in starts]
    spoilt = values.copy()
    for from_us, to_us in excluded:
        inside = (times + QUARTER_US > from_us) & (times < to_us)
        spoilt[inside] = data.draw(st.sampled_from([-50.0, 0.0, 85.0, 1e6, np.nan]))
    assert fit_baseline(times, spoilt, "UTC", "temperature", excluded) == fit_baseline(
        times, values, "UTC", "temperature", excluded
    )


@pytest.mark.parametrize("beyond_us", [-1, 0, 1])
def test_a_quarter_that_an_excluded_stretch_touches_is_left_out(beyond_us):
    """Just under, at and just over the end of the quarter before the bad one."""
    times = quarters(14)
    values = day(times)
    values[700] = 99.0
    end_us = int(times[700]) + beyond_us
    touched = fit_baseline(times, values, "UTC", "other", [(int(times[690]), end_us)])
    clean = values.copy()
    clean[700] = np.nan
    without = fit_baseline(times, clean, "UTC", "other", [(int(times[690]), end_us)])
    assert (touched == without) is (beyond_us > 0)


def test_one_bad_day_of_fourteen_moves_what_is_usual_little():
    times = quarters(14)
    values = day(times) + noise(times, sigma=0.03)
    whole = fitted(times, values)
    values[96:192] -= 3.0
    spoilt = fitted(times, values)
    np.testing.assert_allclose(spoilt.centre[0], whole.centre[0], atol=0.1)


def test_a_cold_hour_that_nobody_announced_does_not_widen_the_band():
    """Water changed on two of fourteen days: counted as not held, and no reason for a wider band."""
    times = quarters(28)
    values = day(times) + noise(times, sigma=0.03)
    whole = fitted(times, values)
    for number in (3, 8, 17, 25):
        values[number * 96 + 40 : number * 96 + 46] -= 2.0
    spoilt = fitted(times, values)
    assert np.median(spoilt.half_width) < 1.2 * np.median(whole.half_width)
    assert spoilt.coverage == pytest.approx(whole.coverage - 2 * 6 / (14 * 96), abs=0.002)


# -- the fit does not know units -------------------------------------------------------------------


@settings(max_examples=10)
@given(
    offset=st.sampled_from([-300.0, 7.0, 1e4]),
    scale=st.sampled_from([0.01, 1.0, 55.0]),
    seed=st.integers(0, 9),
)
def test_another_unit_gives_the_same_band(offset, scale, seed):
    times = quarters(21)
    values = day(times) + noise(times, seed)
    one = fitted(times, values, "other")
    other = fitted(times, values * scale + offset, "other")
    assert (other.pattern, other.coverage, other.days) == (one.pattern, one.coverage, one.days)
    for at in range(0, 96 * 7, 13):
        bands = [profile.band_at(int(times[at])) for profile in (one, other)]
        assert bands[1] == pytest.approx(
            [edge * scale + offset for edge in bands[0]], rel=1e-5, abs=2e-3 * scale
        )


# -- learning --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "knows"), [(6, False), (7, True), (8, True)], ids=["under", "at", "over"])
def test_it_is_learning_until_enough_days_exist(days, knows):
    times = quarters(days)
    found = fit_baseline(times, day(times), "UTC", "temperature")
    assert isinstance(found, WeekProfile) is knows
    if not knows:
        assert found == Learning(days)
        assert days < DAYS_NEEDED


def test_without_a_reading_nothing_is_known():
    nothing = np.empty(0, np.int64)
    assert fit_baseline(nothing, np.empty(0), "UTC", "temperature") == Learning(0)
    times = quarters(9)
    assert fit_baseline(times, np.full(len(times), np.nan), "UTC", "temperature") == Learning(0)


def test_days_of_which_only_the_evening_is_known_are_not_enough():
    times = quarters(20)
    values = np.where(times % DAY_US >= 11 * HOUR_US, day(times), np.nan)
    assert fit_baseline(times, values, "UTC", "temperature") == Learning(DAYS_NEEDED - 1)


@settings(max_examples=30)
@given(
    holes=st.lists(st.tuples(st.integers(0, 28 * 96), st.integers(0, 12 * 96)), max_size=4),
    wide=st.sampled_from([0.0, 0.05, 5.0]),
)
def test_any_holes_get_an_answer_of_finite_numbers(holes, wide):
    times = quarters(28)
    values = day(times) + noise(times, sigma=wide)
    for start, length in holes:
        values[start : start + length] = np.nan
    found = fit_baseline(times, values, "Europe/Berlin", "temperature")
    if isinstance(found, WeekProfile):
        low, high = found.expect(quarters(7, 28))
        assert np.all(np.isfinite(low) & np.isfinite(high) & (low < high))
        assert 0.95 <= found.coverage <= 1.0
    else:
        assert isinstance(found, Learning | PoorFit)


# -- stepping back ---------------------------------------------------------------------------------


def test_a_band_as_wide_as_the_limits_is_no_baseline():
    times = quarters(28)
    values = day(times) + noise(times)
    profile = fitted(times, values)
    width = 2 * float(np.median(profile.half_width))
    for allowed, is_poor in ((width * 0.999, True), (width * 1.001, False)):
        found = fit_baseline(times, values, "UTC", "temperature", limits=(25.0, 25.0 + allowed))
        assert isinstance(found, PoorFit) is is_poor
        assert not is_poor or found.reason == "width"


def test_a_series_whose_days_do_not_resemble_each_other_says_so():
    """A heater that rests for days and then runs through a cold one: the band of rest holds too little."""
    times = quarters(28)
    runs = np.isin((times - START_US) // DAY_US, (16, 20, 22, 25))
    found = fit_baseline(times, np.where(runs, 150.0, 0.0) + noise(times, sigma=1.0), "UTC", "power")
    assert isinstance(found, PoorFit)
    assert found.reason == "coverage"
    assert found.coverage < 0.95


def test_a_reservoir_that_empties_for_weeks_has_no_usual_level():
    times = quarters(28)
    litres = 60.0 - (times - START_US) / DAY_US * 4.0 % 56.0
    found = fit_baseline(times, litres + noise(times, sigma=0.05), "UTC", "volume")
    assert isinstance(found, PoorFit)
    assert found.reason in ("skill", "coverage")


# -- the year --------------------------------------------------------------------------------------


def middles(days: int) -> np.ndarray:
    end_us = START_US + 28 * DAY_US
    return end_us - DAY_US // 2 - np.arange(days, dtype=np.int64)[::-1] * DAY_US


def yearly(at: np.ndarray) -> np.ndarray:
    return 3.0 * np.sin(2 * np.pi * (at - START_US) / (365.2425 * DAY_US))


@pytest.mark.parametrize(
    ("days", "is_known"), [(359, False), (360, True), (800, True)], ids=["under", "at", "over"]
)
def test_a_season_is_learnt_from_a_year_and_not_before(days, is_known):
    times, long = quarters(28), middles(days)
    values = 20.0 + yearly(times) + 0.3 * np.sin(times / DAY_US * 2 * np.pi)
    profile = fitted(times, values + noise(times, sigma=0.05), daily=(long, 20.0 + yearly(long)))
    assert (profile.season is not None) is is_known
    # Two weeks later the sea is warmer; who knows of the season expects that.
    later = int(times[-1]) + 14 * DAY_US
    sea = 20.0 + float(yearly(np.array([later]))[0])
    day_wave = 0.3 * np.sin(later / DAY_US * 2 * np.pi)
    error = abs(profile.band_at(later).centre - sea - day_wave)
    assert error < 0.1 if is_known else error > 0.5


def test_a_tank_without_a_season_gets_none():
    times, long = quarters(28), middles(800)
    levels = 25.0 + np.random.default_rng(2).normal(0, 0.1, len(long))
    assert fitted(times, day(times), daily=(long, levels)).season is None
