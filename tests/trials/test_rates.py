"""Intervals against published ones."""

from __future__ import annotations

import pytest

from tests.bench.trials.rates import Rate, Share


# Newcombe, Statistics in Medicine 17 (1998) 857-872, Wilson's score interval; quoted from memory.
@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_interval_is_the_published_one(count: int, total: int, low: float, high: float) -> None:
    assert Share(count, total).interval() == pytest.approx((low, high), abs=5e-5)


def test_a_share_of_nothing_may_be_anything() -> None:
    assert Share(0, 0).interval() == (0.0, 1.0)
    assert str(Share(0, 0)) == "-"


# Exact limits of a Poisson count (Garwood, Biometrika 28 (1936) 437-442), as tables have them; from memory.
@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.689), (1, 0.025, 5.572), (10, 4.795, 18.390), (20, 12.217, 30.888)]
)
def test_poisson_interval_is_the_published_one(count: int, low: float, high: float) -> None:
    assert Rate(count, 1.0).interval() == pytest.approx((low, high), abs=6e-4)
    assert Rate(count, 2.0).interval() == pytest.approx((low / 2, high / 2), abs=6e-4)
