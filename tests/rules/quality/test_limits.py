"""Each limit of each test: just under, exactly at, just over; and what a limits type refuses."""

from __future__ import annotations

import pytest

from rules import (
    HOUR_US,
    AttenuatedSignalLimits,
    ClimatologyLimits,
    CompanionLimits,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    Season,
    SeriesRules,
    SpikeLimits,
    unpack,
)
from rules.quality.suite import QualitySuite
from tests.rules.quality.library import MINUTE, START_US, Case, every, ours

SECOND = MINUTE // 60
# A difference that a binary fraction holds without rounding.
LITTLE = 2.0**-20


def flags(test: str, limits, values, *, step_us: int = MINUTE, gap_us: int | None = None) -> list[int]:
    return ours(Case(test, limits, values, every(step_us, len(values)), gap_us))


@pytest.mark.parametrize(
    ("value", "flag"),
    [
        (20 - LITTLE, 4), (20, 3), (20 + LITTLE, 3), (22 - LITTLE, 3), (22, 1), (22 + LITTLE, 1),
        (28 - LITTLE, 1), (28, 1), (28 + LITTLE, 3), (30 - LITTLE, 3), (30, 3), (30 + LITTLE, 4),
    ],
)  # fmt: skip
def test_gross_range_bounds_are_inside(value, flag):
    assert flags("gross_range", GrossRangeLimits(20, 30, 22, 28), [value]) == [flag]


@pytest.mark.parametrize(
    ("silence_s", "flag"), [(3599, 1), (3600, 1), (3601, 4)], ids=["under", "at", "over"]
)
def test_gap_fails_the_reading_that_ends_it(silence_s, flag):
    case = Case("gap", GapLimits(HOUR_US), [0.0, 0.0], [START_US, START_US + silence_s * SECOND], HOUR_US)
    assert ours(case) == [1, flag]


@pytest.mark.parametrize("method", ["average", "differential"])
@pytest.mark.parametrize(
    ("distance", "flag"),
    [
        (0.5 - LITTLE, 1), (0.5, 1), (0.5 + LITTLE, 3),
        (1.5 - LITTLE, 3), (1.5, 3), (1.5 + LITTLE, 4),
    ],
)  # fmt: skip
def test_spike_thresholds_are_strict(method, distance, flag):
    for value in (distance, -distance):
        assert flags("spike", SpikeLimits(0.5, 1.5, method), [0, value, 0, 0])[1] == flag


def test_a_differential_spike_is_the_smaller_step_and_a_step_is_none():
    limits = SpikeLimits(0.5, 1.5, "differential")
    assert flags("spike", limits, [0, 2, 1.25, 1.25]) == [2, 3, 1, 1]
    assert flags("spike", limits, [0, 2, 4, 4]) == [2, 1, 1, 1]


@pytest.mark.parametrize(
    ("change", "flag"), [(1 - LITTLE, 1), (1.0, 1), (1 + LITTLE, 3)], ids=["under", "at", "over"]
)
def test_a_rate_is_suspect_above_its_limit(change, flag):
    for value in (change, -change):
        assert flags("rate_of_change", RateOfChangeLimits(64.0), [0, value], step_us=HOUR_US // 64) == [
            2,
            flag,
        ]


@pytest.mark.parametrize(
    ("span", "flag"), [(1 / 64 - LITTLE, 3), (1 / 64, 3), (1 / 64 + LITTLE, 1)], ids=["under", "at", "over"]
)
def test_a_span_equal_to_the_tolerance_is_flat(span, flag):
    limits = FlatLineLimits(1 / 64, 180 * SECOND, 1000 * SECOND)
    assert flags("flat_line", limits, [0.0, span, 0.0, span, 0.0, span])[-1] == flag


def test_a_step_of_the_probe_equals_a_tolerance_of_that_step_in_decimals():
    """25.1 - 25.0 is more than 0.1 in binary, and so is 35.3 - 35.2."""
    limits = FlatLineLimits(0.1, 180 * SECOND, 1000 * SECOND)
    for low, high in ((25.0, 25.1), (35.2, 35.3), (8.1, 8.2)):
        assert flags("flat_line", limits, [low, high] * 3)[-1] == 3
        assert flags("flat_line", limits, [low, high + 0.1] * 3)[-1] == 1


@pytest.mark.parametrize(("seconds", "flag"), [(179, 1), (180, 3), (181, 3), (299, 3), (300, 4), (301, 4)])
def test_a_flat_line_is_one_from_its_duration_on(seconds, flag):
    limits = FlatLineLimits(0.01, 180 * SECOND, 300 * SECOND)
    times_us = [START_US, START_US + MINUTE, START_US + MINUTE + seconds * SECOND]
    assert ours(Case("flat_line", limits, [1.0, 5.0, 5.0], times_us))[-1] == flag


@pytest.mark.parametrize("method", ["range", "deviation"])
@pytest.mark.parametrize(
    ("movement", "flag"),
    [
        (0.25 - LITTLE, 4), (0.25, 3), (0.25 + LITTLE, 3),
        (1 - LITTLE, 3), (1.0, 1), (1 + LITTLE, 1),
    ],
)  # fmt: skip
def test_movement_of_just_the_limit_is_enough(method, movement, flag):
    """Two values alternate: their range is twice their standard deviation."""
    limits = AttenuatedSignalLimits(4 * MINUTE, 1.0, 0.25, method)
    top = movement if method == "range" else 2 * movement
    assert flags("attenuated_signal", limits, [0.0, top] * 4)[-1] == flag


@pytest.mark.parametrize(("minutes", "flag"), [(9, 2), (10, 3), (11, 3)], ids=["under", "at", "over"])
def test_too_little_movement_is_a_verdict_when_the_window_is_filled(minutes, flag):
    limits = AttenuatedSignalLimits(10 * MINUTE, 1.0)
    assert flags("attenuated_signal", limits, [5.0] * (minutes + 1))[-1] == flag


@pytest.mark.parametrize(("count", "flag"), [(3, 2), (4, 1), (5, 1)], ids=["under", "at", "over"])
def test_enough_movement_is_one_with_enough_readings(count, flag):
    limits = AttenuatedSignalLimits(10 * MINUTE, 1.0, fewest=4)
    assert flags("attenuated_signal", limits, ([0.0, 2.0] * 3)[:count])[-1] == flag


def test_a_series_without_tests_is_not_evaluated():
    verdicts = QualitySuite(SeriesRules("reef", "x", "ph")).judge([START_US], [8.0])
    assert verdicts == ([2], [0], None)


def test_a_reading_that_fails_gross_range_does_not_move_the_water():
    """One value of a broken contact would else hide for a day that nothing moves."""
    rules = SeriesRules(
        "reef", "x", "ph",
        gross_range=GrossRangeLimits(0, 14),
        attenuated_signal=AttenuatedSignalLimits(HOUR_US, 0.1),
        rate_of_change=RateOfChangeLimits(deviations=3.0, window_us=2 * HOUR_US),
    )  # fmt: skip
    values = [8.0 + 0.001 * (place % 5) for place in range(200)]
    values[100] = -127.0
    packed = QualitySuite(rules).judge(every(MINUTE, 200), values).packed
    assert [unpack(bits).get("attenuated_signal", 1) for bits in packed[60:]] == [
        *[3] * 40, 2, *[3] * 99,
    ]  # fmt: skip
    assert [unpack(bits).get("rate_of_change", 1) for bits in packed[99:103]] == [1, 3, 3, 1]
    assert unpack(packed[199]).get("rate_of_change", 1) == 1
    jump = QualitySuite(rules)
    jump.judge(every(MINUTE, 200), values)
    later = jump.judge([START_US + 200 * MINUTE], [8.05]).packed[0]
    assert unpack(later)["rate_of_change"] == 3


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: SpikeLimits(1.0, 2.0, "median"), "average, differential"),
        (lambda: RateOfChangeLimits(deviations=0.0), "more than 0 deviations"),
        (lambda: RateOfChangeLimits(deviations=3.0, least_change=-1.0), "negative"),
        (lambda: RateOfChangeLimits(deviations=3.0, window_us=HOUR_US - 1), "1 to 48 h"),
        (lambda: RateOfChangeLimits(deviations=3.0, window_us=48 * HOUR_US + 1), "1 to 48 h"),
        (lambda: Season("moon", 1, 2, 0.0, 1.0), "day_of_year"),
        (lambda: Season("year", 2027, 2026, 0.0, 1.0), "ends before it begins"),
        (lambda: Season("month", 1, 2, 1.0, 1.0), "upside down"),
        (lambda: Season("month", 1, 2, 0.0, 1.0, 3.0, 2.0), "upside down"),
        (lambda: ClimatologyLimits(0.99), "1 at least"),
        (lambda: AttenuatedSignalLimits(49 * HOUR_US, 1.0), "to 48 h"),
        (lambda: AttenuatedSignalLimits(HOUR_US, 0.0), "never happens"),
        (lambda: AttenuatedSignalLimits(HOUR_US, 1.0, 1.1), "fail_below <= suspect_below"),
        (lambda: AttenuatedSignalLimits(HOUR_US, 1.0, method="mean"), "range, deviation"),
        (lambda: AttenuatedSignalLimits(HOUR_US, 1.0, fewest=0), "1 at least"),
        (lambda: CompanionLimits("ph", deviations=0.0), "more than no deviations"),
        (lambda: CompanionLimits("ph", least_change=-0.1), "negative"),
        (lambda: CompanionLimits("ph", window_us=0), "1 to 48 h"),
    ],
)
def test_limits_that_mean_nothing_are_refused(make, told):
    with pytest.raises(ValueError, match=told):
        make()
