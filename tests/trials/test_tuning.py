"""Thresholds for other methods: what they win, what they may cost."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.trials.cells import medians, onsets, sustained
from tests.bench.trials.tuning import tune

MINUTE_US = 60_000_000


def test_the_lowest_level_that_the_budget_allows_is_taken() -> None:
    rings = [{("level", "now"): np.array([5.0, 20.0, np.inf])}]
    false = [{("level", "now"): np.array([3.0, 1.0, 0.0])}]
    for budget, minutes in ((0, np.inf), (1, 20.0), (2, 20.0), (3, 5.0)):
        found = tune(rings, false, [1.0], budget)
        assert found.minutes.tolist() == [minutes]
        assert found.false_rings <= budget


def test_the_budget_goes_where_it_wins_most() -> None:
    rings = [
        {("a", "now"): np.array([30.0, np.inf]), ("b", "now"): np.array([6.0, np.inf])},
        {("a", "now"): np.array([np.inf, np.inf]), ("b", "now"): np.array([np.inf, 50.0])},
    ]
    false = [{("a", "now"): np.array([1.0, 0.0]), ("b", "now"): np.array([1.0, 0.0])}]
    found = tune(rings, false, [1.0, 1.0], 1)
    # Level 0 of b loses the second trial, level 1 of b costs nothing: a then is the best for the first one.
    assert found.false_rings <= 1
    assert found.minutes[0] in (6.0, 30.0)
    assert np.isfinite(found.minutes).sum() >= 1


def test_a_ring_beyond_the_horizon_is_none() -> None:
    found = tune([{("a", "now"): np.array([90.0])}], [{("a", "now"): np.array([0.0])}], [1.0], 5)
    assert np.isinf(found.minutes[0])


def test_what_is_on_all_the_time_rings_once() -> None:
    assert onsets(np.ones(500), 1.0, 12).tolist() == [0]
    assert onsets(np.array([0, 1, 1, 0, 0, 0, 1]), 1.0, 2).tolist() == [1, 6]
    assert onsets(np.array([0, 1, 1, 0, 1, 0, 0]), 1.0, 2).tolist() == [1]
    assert not len(onsets(np.zeros(5), 1.0, 2))


@pytest.mark.parametrize(("cells", "expected"), [(1, [1, 3, 2, 5]), (2, [-np.inf, 1, 2, 2])])
def test_sustained_is_the_least_of_the_last_cells(cells: int, expected: list[float]) -> None:
    assert sustained(np.array([1.0, 3.0, 2.0, 5.0]), cells).tolist() == expected


def test_cells_are_medians_and_hold_for_a_while() -> None:
    times = np.array([0, 10, 20, 200, 201]) * 1_000_000
    found = medians(times, np.array([1.0, 9.0, 2.0, 4.0, 6.0]), 0, 6 * MINUTE_US, 1, hold=1)
    np.testing.assert_array_equal(found, [2.0, 2.0, np.nan, 5.0, 5.0, np.nan])
