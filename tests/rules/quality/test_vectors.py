"""Flags of ioos_qc 3.0.0 for given readings a minute apart, side by side with ours: one row a vector.

Where the two columns differ, the difference is a row of `differences`.
"""

from __future__ import annotations

import pytest

from rules import (
    HOUR_US,
    AttenuatedSignalLimits,
    Flag,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    SpikeLimits,
    primary_flag,
)
from tests.rules.quality.library import MINUTE, START_US, Case, every, ours, theirs

NAN, INF = float("nan"), float("inf")
SECOND = MINUTE // 60
AVERAGE, DIFFERENTIAL = SpikeLimits(0.5, 1.5), SpikeLimits(0.5, 1.5, "differential")
STEP, PLATEAU = [0, 0, 0, 2, 2, 2], [0, 0, 4, 4, 0, 0]
HOLE = [0, 0, NAN, 0, 5, 0, 0]
TWO_SPIKES = [25, 25, 26, 25, 25, 28, 25, 25]
FLAT = FlatLineLimits(0.01, 180 * SECOND, 300 * SECOND)
RUNS = [1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001]
FADING = [3, 4, 5, 8.1, 9, 8.5, 8.7, 8.4, 8.2, 8.35, 8.2, 8.1, 8.2, 8.1]
RANGE = AttenuatedSignalLimits(300 * SECOND, 1.0, 0.2, "range", 1)
PER_SECOND = 3600.0

# test, limits, readings, theirs, ours
VECTORS = [
    (
        "gross_range", GrossRangeLimits(20, 30, 22, 28), [19.9, 20, 22, 24, 28, 29, 30, 30.1, NAN],
        [4, 3, 1, 1, 1, 3, 3, 4, 9], [4, 3, 1, 1, 1, 3, 3, 4, 9],
    ),
    ("gross_range", GrossRangeLimits(20, 30), [25, INF, -INF], [1, 4, 4], [1, 4, 4]),
    ("spike", SpikeLimits(0.4, 1), TWO_SPIKES, [2, 3, 3, 3, 4, 4, 4, 2], [2, 3, 3, 3, 4, 4, 4, 1]),
    (
        "spike", SpikeLimits(0.4, 1, "differential"), TWO_SPIKES,
        [2, 1, 3, 1, 1, 4, 1, 2], [2, 1, 3, 1, 1, 4, 1, 1],
    ),
    ("spike", AVERAGE, STEP, [2, 1, 3, 3, 1, 2], [2, 1, 3, 3, 1, 1]),
    ("spike", DIFFERENTIAL, STEP, [2, 1, 1, 1, 1, 2], [2, 1, 1, 1, 1, 1]),
    ("spike", AVERAGE, HOLE, [2, 2, 9, 2, 4, 4, 2], [2, 2, 9, 2, 4, 4, 1]),
    ("spike", DIFFERENTIAL, HOLE, [2, 2, 9, 2, 4, 1, 2], [2, 2, 9, 2, 4, 1, 1]),
    ("spike", AVERAGE, PLATEAU, [2, 4, 4, 4, 4, 2], [2, 4, 4, 4, 4, 1]),
    (
        "rate_of_change", RateOfChangeLimits(0.001 * PER_SECOND),
        [25, 25.06, 25.18, 25.24, 25.9, 25.9], [1, 1, 3, 1, 3, 1], [2, 1, 3, 1, 3, 1],
    ),
    (
        "rate_of_change", RateOfChangeLimits(PER_SECOND), [0, 60, 120, 240, 240, 0],
        [1, 1, 1, 3, 1, 3], [2, 1, 1, 3, 1, 3],
    ),
    (
        "rate_of_change", RateOfChangeLimits(PER_SECOND), [0, NAN, 600, 600, 0, 0],
        [1, 9, 1, 1, 3, 1], [2, 9, 2, 1, 3, 1],
    ),
    (
        "flat_line", FLAT, RUNS,
        [1, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3], [2, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3],
    ),
    (
        "flat_line", FlatLineLimits(1e-9, 180 * SECOND, 300 * SECOND), [5] * 8,
        [1, 1, 1, 3, 3, 4, 4, 4], [2, 2, 2, 3, 3, 4, 4, 4],
    ),
    ("flat_line", FLAT, [5, 5, NAN, *[5] * 6], [1, 1, 9, 3, 3, 4, 4, 4, 4], [2, 2, 9, 3, 3, 4, 4, 4, 4]),
    (
        "flat_line", FlatLineLimits(0.01, 200 * SECOND, 300 * SECOND), [5] * 8,
        [1, 1, 1, 3, 3, 4, 4, 4], [2, 2, 2, 2, 3, 4, 4, 4],
    ),
    (
        "attenuated_signal", RANGE, FADING,
        [4, 1, 1, 1, 1, 1, 1, 3, 3, 3, 3, 3, 3, 3], [2, 1, 1, 1, 1, 1, 1, 3, 3, 3, 3, 3, 3, 3],
    ),
    (
        "attenuated_signal", AttenuatedSignalLimits(300 * SECOND, 1.0, 0.2, "range", 4), FADING,
        [2, 2, 2, 1, 1, 1, 1, 3, 3, 3, 3, 3, 3, 3], [2, 2, 2, 1, 1, 1, 1, 3, 3, 3, 3, 3, 3, 3],
    ),
    (
        "attenuated_signal", AttenuatedSignalLimits(300 * SECOND, 0.5, 0.1, "deviation", 1), FADING,
        [4, 1, 1, 1, 1, 1, 1, 3, 3, 3, 3, 3, 4, 4], [2, 1, 1, 1, 1, 1, 1, 3, 3, 3, 3, 3, 4, 4],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("test", "limits", "values", "expected", "own"), VECTORS)
def test_vector(test, limits, values, expected, own):
    case = Case(test, limits, values, every(MINUTE, len(values)))
    assert theirs(case) == expected
    assert ours(case) == own


def test_vector_of_gaps():
    minutes = [0, 1, 2, 122, 123, 124]
    times_us = [START_US + minute * MINUTE for minute in minutes]
    case = Case("gap", GapLimits(HOUR_US), [0.0] * 6, times_us, HOUR_US)
    assert theirs(case) == ours(case) == [1, 1, 1, 4, 1, 1]


# The library's own vector for `qartod_compare`.
@pytest.mark.parametrize(
    ("flags", "expected"),
    list(
        zip(
            zip((1, 1, 1, 2, 9, 9, 2), (1, 3, 4, 1, 9, 2, 2), (2, 1, 3, 9, 9, 1, 4), strict=True),
            (1, 3, 4, 1, 9, 1, 4),
            strict=True,
        )
    ),
)
def test_primary_flag_vector(flags, expected):
    assert primary_flag(Flag(flag) for flag in flags) == expected
