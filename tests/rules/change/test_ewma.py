"""The EWMA against the worked example of the NIST/SEMATECH e-Handbook, 6.3.2.4, as public tests quote it."""

from __future__ import annotations

import math

import pytest

from rules.change.ewma import control_limit, ewmas

# fmt: off
DATA = (
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
)
AVERAGES = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
)
# fmt: on
TARGET, SIGMA, WEIGHT = 50.0, 2.0539, 0.3


def test_every_average_of_the_handbook():
    assert [round(value, 2) for value in ewmas(DATA, WEIGHT, TARGET)] == list(AVERAGES)


def test_the_limits_of_the_handbook():
    """It prints 47.4115 from a rounded factor of 0.4201; to the digit it is 47.4116."""
    distance = SIGMA * control_limit(WEIGHT, 3.0)
    assert pytest.approx(52.5884, abs=1e-4) == TARGET + distance
    assert pytest.approx(47.4115, abs=2e-4) == TARGET - distance
    assert all(abs(value - TARGET) < distance for value in ewmas(DATA, WEIGHT, TARGET)), "no signal"


@pytest.mark.parametrize(("count", "limit"), [(1, 51.8485), (2, 52.2564), (3, 52.4314)])
def test_early_limits_are_narrower(count, limit):
    """Computed from the exact variance (Roberts 1959); the handbook gives the formula, not these values."""
    assert TARGET + SIGMA * control_limit(WEIGHT, 3.0, count) == pytest.approx(limit, abs=1e-4)


def test_nothing_known_changes_nothing():
    assert list(ewmas([1.0, math.nan, 1.0], 0.5, 0.0)) == [0.5, 0.5, 0.75]
