"""The climatology test: by the learned band, widened, and by seasons on the clock on the wall."""

from __future__ import annotations

import numpy as np
import pytest

from rules import (
    HOUR_US,
    Band,
    ClimatologyLimits,
    GrossRangeLimits,
    Season,
    SeriesRules,
    WeekProfile,
    fit_baseline,
    unpack,
)
from rules.quality.suite import QualitySuite
from tests.rules.quality.library import MINUTE, START_US, every

NAN, INF = float("nan"), float("inf")
DAY_US = 24 * HOUR_US
QUARTER = 15 * MINUTE
# The beginning of a quarter of an hour.
QUARTER_US = START_US - START_US % QUARTER + QUARTER


class Steady:
    """A band that stays the same, and counts how often it is asked for."""

    def __init__(self, low: float, centre: float, high: float) -> None:
        self._band = Band(low, centre, high)
        self.asked: list[int] = []

    def band_at(self, time_us: int) -> Band:
        self.asked.append(time_us)
        return self._band


def suite_of(limits: ClimatologyLimits, source=None, **others) -> QualitySuite:
    suite = QualitySuite(SeriesRules("reef", "x", "temperature", climatology=limits, **others))
    suite.set_band_source(source)
    return suite


def flags(suite: QualitySuite, values, *, step_us: int = MINUTE, start_us: int = QUARTER_US) -> list[int]:
    packed = suite.judge(every(step_us, len(values), start_us), values).packed
    return [unpack(bits).get("climatology", 1) for bits in packed]


@pytest.mark.parametrize(
    ("value", "flag"),
    [(23.9, 3), (24.0, 1), (24.1, 1), (26.9, 1), (27.0, 1), (27.1, 3)],
    ids=["below", "at low", "above low", "below high", "at high", "above"],
)
def test_each_side_of_the_band_is_widened_about_its_centre(value, flag):
    # 0.5 below the centre and 1.0 above it, twice as far.
    suite = suite_of(ClimatologyLimits(2.0), Steady(24.5, 25.0, 26.0))
    assert flags(suite, [value]) == [flag]


def test_nothing_is_evaluated_while_there_is_no_band():
    suite = suite_of(ClimatologyLimits(2.0))
    assert flags(suite, [25.0, 99.0]) == [2, 2]
    suite.set_band_source(Steady(24.0, 25.0, 26.0))
    assert flags(suite, [25.0, 99.0], start_us=QUARTER_US + 2 * MINUTE) == [1, 3]
    suite.set_band_source(None)
    assert flags(suite, [25.0, 99.0], start_us=QUARTER_US + 4 * MINUTE) == [2, 2]


def test_a_band_that_does_not_know_is_no_band():
    assert flags(suite_of(ClimatologyLimits(2.0), Steady(NAN, NAN, NAN)), [25.0, 99.0]) == [2, 2]


def test_the_band_is_asked_for_once_a_quarter_at_its_beginning():
    source = Steady(24.0, 25.0, 26.0)
    suite = suite_of(ClimatologyLimits(2.0), source)
    for minute in range(45):
        flags(suite, [25.0], start_us=QUARTER_US + 7 * MINUTE + minute * MINUTE)
    assert source.asked == [QUARTER_US + place * QUARTER for place in range(4)]


def test_the_manual_knows_no_fail_level():
    assert flags(suite_of(ClimatologyLimits(1.0), Steady(24.0, 25.0, 26.0)), [1e9, -1e9]) == [3, 3]


def test_a_value_must_suit_season_and_band():
    season = Season("month", 1, 12, 24.5, 30.0, 20.0, 40.0)
    suite = suite_of(ClimatologyLimits(1.0, (season,)), Steady(24.0, 25.0, 26.0))
    assert flags(suite, [24.2, 25.0, 27.0, 41.0, 19.0]) == [3, 1, 3, 4, 4]


def test_a_season_says_what_is_usual_while_the_band_is_learned():
    suite = suite_of(ClimatologyLimits(2.0, (Season("month", 1, 12, 24.0, 26.0),)))
    assert flags(suite, [25.0, 27.0]) == [1, 3]


def test_the_band_can_be_left_out():
    suite = suite_of(ClimatologyLimits(None), Steady(24.0, 25.0, 26.0))
    assert flags(suite, [25.0, 99.0]) == [2, 2]


def test_a_later_season_counts_instead_of_an_earlier_one():
    seasons = (Season("month", 1, 12, 0.0, 9.0), Season("month", 1, 12, 20.0, 30.0))
    assert flags(suite_of(ClimatologyLimits(None, seasons)), [5.0, 25.0]) == [3, 1]


def test_a_fail_span_counts_also_where_it_is_the_narrower():
    """As theirs: outside fspan is FAIL whatever vspan says."""
    season = Season("month", 1, 12, 0.0, 9.0, 3.0, 6.0)
    assert flags(suite_of(ClimatologyLimits(None, (season,))), [2.0, 4.0, 7.0, 10.0]) == [4, 1, 4, 4]


@pytest.mark.parametrize(("second", "flag"), [(9, 2), (10, 3), (11, 3), (20, 3), (21, 2)])
def test_a_season_of_instants_begins_and_ends_within_a_quarter(second, flag):
    at_us = [QUARTER_US + of * 1_000_000 for of in (10, 20)]
    suite = suite_of(ClimatologyLimits(None, (Season("instant", *at_us, 0.0, 9.0),)))
    found = flags(suite, [99.0] * 30, step_us=1_000_000)
    assert found[second] == flag


@pytest.mark.parametrize(
    ("zone", "season", "found"),
    [
        # 22:00 UTC of a Saturday, 2026-10-24, is Sunday in Berlin; an hour of that night happens twice.
        ("Europe/Berlin", Season("weekday", 6, 6, 0.0, 9.0), [1] * 6),
        ("UTC", Season("weekday", 6, 6, 0.0, 9.0), [2, 2, 1, 1, 1, 1]),
        ("Europe/Berlin", Season("hour", 2, 2, 0.0, 9.0), [2, 2, 1, 1, 2, 2]),
        ("Europe/Berlin", Season("weekday", 5, 6, 0.0, 9.0), [1] * 6),
        ("Europe/Berlin", Season("weekday", 6, 0, 0.0, 9.0), [1] * 6),
        ("Europe/Berlin", Season("day", 25, 25, 0.0, 9.0), [1] * 6),
        ("Europe/Berlin", Season("quarter", 4, 4, 0.0, 9.0), [1] * 6),
        ("Europe/Berlin", Season("week", 43, 43, 0.0, 9.0), [1] * 6),
        ("Europe/Berlin", Season("month", 11, 9, 0.0, 9.0), [2] * 6),
    ],
)
def test_seasons_follow_the_clock_on_the_wall_over_its_change(zone, season, found):
    start_us = int(np.datetime64("2026-10-24T22:00", "us").astype(int))
    suite = suite_of(ClimatologyLimits(None, (season,), zone))
    assert flags(suite, [5.0] * 6, step_us=HOUR_US, start_us=start_us) == found


def test_a_learned_day_finds_what_is_unusual_at_this_hour():
    times = np.arange(0, 14 * DAY_US, QUARTER) + QUARTER_US - QUARTER_US % DAY_US
    swing = np.sin(times / DAY_US * 2 * np.pi)
    profile = fit_baseline(times, 25 + swing, "UTC", "temperature")
    assert isinstance(profile, WeekProfile)
    suite = suite_of(ClimatologyLimits(2.0), profile, gross_range=GrossRangeLimits(0, 50, 20, 30))
    tomorrow = times[-96:] + 2 * DAY_US
    usual = (25 + swing[-96:]).tolist()
    assert set(flags(suite, usual, step_us=QUARTER, start_us=int(tomorrow[0]))) == {1}
    # The value of noon at six in the morning: within the usual range, and far from usual.
    suite = suite_of(ClimatologyLimits(2.0), profile)
    assert flags(suite, [25.0], start_us=int(tomorrow[24])) == [3]
    assert flags(suite, [26.0], start_us=int(tomorrow[24]) + MINUTE) == [1]
