"""The CUSUM against the worked example of the NIST/SEMATECH e-Handbook, 6.3.2.3.

Data, target, K, H and all sums as public test suites quote them from the handbook.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.change.cusum import cusum, cusums

TARGET, ALLOWANCE, LIMIT = 325.0, 0.3175, 4.1959
# fmt: off
DATA = (
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
)
HIGH = {
    5: 0.0325, 13: 3.0075, 14: 4.94, 15: 7.4475, 16: 10.63, 17: 11.9875, 18: 14.445, 19: 16.0025, 20: 19.035,
}
LOW = {2: 0.0075, 4: 0.3325, 7: 0.5575, 8: 0.715, 9: 0.1725, 10: 0.255, 11: 0.3125}
# fmt: on


def states():
    return list(cusums([value - TARGET for value in DATA], ALLOWANCE))


@pytest.mark.parametrize("sample", range(1, 21))
def test_every_sum_of_the_handbook(sample):
    state = states()[sample - 1]
    assert state.high == pytest.approx(HIGH.get(sample, 0.0), abs=1e-9)
    assert state.low == pytest.approx(LOW.get(sample, 0.0), abs=1e-9)


def test_the_first_signal_is_sample_14():
    over = [number for number, state in enumerate(states(), start=1) if max(state.high, state.low) > LIMIT]
    assert over[0] == 14


def test_it_says_since_when_it_has_gathered():
    last = states()[-1]
    assert DATA[last.high_since] == 328.325
    assert last.low_since == len(DATA)


def test_nothing_known_changes_nothing():
    assert cusum([1.0, math.nan, 1.0], 0.5) == cusum([1.0, 1.0], 0.5)._replace(low_since=3)
    assert cusum([], 0.5) == (0.0, 0.0, 0, 0)


@given(st.lists(st.floats(-5, 5), max_size=30), st.floats(0, 2))
def test_both_sides_are_mirrors(values, allowance):
    up, down = cusum(values, allowance), cusum([-value for value in values], allowance)
    assert (up.high, up.low) == (down.low, down.high)
    assert up.high >= 0
    assert up.low >= 0
