"""Run lengths against published tables and against charts that are really run.

The tables: average run lengths of the two-sided tabular CUSUM with h = 4 and 5, k = 1/2 (Montgomery,
Introduction to Statistical Quality Control, and NIST/SEMATECH e-Handbook 6.3.2.3.1) and of EWMA charts (Lucas
and Saccucci 1990). Their values are given here to the digits that integral equations yield; the book prints
them rounded (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.19 and 465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 2.57;
from memory).
"""

from __future__ import annotations

import random

import pytest

from rules.change.cusum import cusums
from rules.change.ewma import control_limit, ewmas
from rules.change.run_length import (
    cusum_limit,
    cusum_run_length,
    ewma_run_length,
    ewma_width,
    siegmund_run_length,
    two_sided,
)
from rules.hours import ALLOWANCE, LIMIT

SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
TABLE = {
    4.0: (167.68, 74.22, 26.63, 13.29, 8.38, 4.75, 3.34, 2.19),
    5.0: (465.44, 139.49, 38.00, 17.05, 10.38, 5.75, 4.01, 2.57),
}


@pytest.mark.parametrize("limit", sorted(TABLE))
@pytest.mark.parametrize("place", range(8))
def test_the_table_of_the_cusum(limit, place):
    assert cusum_run_length(0.5, limit, SHIFTS[place]) == pytest.approx(TABLE[limit][place], abs=0.006)


@pytest.mark.parametrize(
    ("allowance", "limit"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)]
)
def test_limits_for_the_run_length_of_a_shewhart_chart(allowance, limit):
    """Hawkins (1993): h for a run length of 370, as Montgomery quotes it (from memory)."""
    assert cusum_limit(allowance, 370.4) == pytest.approx(limit, abs=0.012)


@pytest.mark.parametrize(
    ("weight", "width", "shift", "length"),
    [
        (0.1, 2.814, 0.0, 499.6),
        (0.1, 2.814, 0.5, 31.3),
        (0.1, 2.814, 1.0, 10.33),
        (0.1, 2.814, 2.0, 4.36),
        (0.2, 2.962, 0.0, 499.7),
        (0.2, 2.962, 0.5, 41.8),
        (0.2, 3.0, 0.0, 559.9),
        (0.4, 3.054, 0.0, 500.0),
        (0.4, 3.054, 1.0, 14.26),
    ],
)
def test_the_table_of_the_ewma(weight, width, shift, length):
    assert ewma_run_length(weight, width, shift) == pytest.approx(length, rel=2e-3)


def test_the_closed_approximation_of_siegmund():
    """h = 5, k = 1/2: 469.1 without a change and 10.34 at one standard deviation (Montgomery's example)."""
    one = siegmund_run_length(0.5, 5.0)
    assert two_sided(one, one) == pytest.approx(469.1, abs=0.05)
    assert siegmund_run_length(0.5, 5.0, 1.0) == pytest.approx(10.34, abs=0.005)
    assert siegmund_run_length(0.5, 5.0, 0.5) == pytest.approx(38.0, rel=0.005)


def test_the_chart_of_drift_rings_in_vain_once_in_ten_years():
    """Four values a day: 14,600 in ten years."""
    assert cusum_run_length(ALLOWANCE, LIMIT) == pytest.approx(14_600, rel=0.01)


def test_a_width_is_found_from_its_run_length():
    assert ewma_width(0.2, 500.0) == pytest.approx(2.962, abs=0.002)


def _mean_length(rings, runs: int) -> float:
    return (
        sum(next(count for count, is_on in enumerate(rings(), start=1) if is_on) for _ in range(runs)) / runs
    )


def test_charts_that_run_ring_as_computed():
    """The integral equations against the very code of the charts, on normal values."""
    chance = random.Random(7)

    def values():
        while True:
            yield chance.gauss(1.0, 1.0)

    def by_cusum():
        return (max(state.high, state.low) > 5.0 for state in cusums(values(), 0.5))

    def by_ewma():
        limit = control_limit(0.2, 2.962)
        return (abs(value) > limit for value in ewmas(values(), 0.2, 0.0))

    # 4000 runs: one standard error is below 1.5 %.
    assert _mean_length(by_cusum, 4000) == pytest.approx(cusum_run_length(0.5, 5.0, 1.0), rel=0.045)
    assert _mean_length(by_ewma, 4000) == pytest.approx(ewma_run_length(0.2, 2.962, 1.0), rel=0.045)
