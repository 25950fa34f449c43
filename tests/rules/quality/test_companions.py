"""The tests of two series: one has moved, its companion has not (QARTOD tests 9 and 11)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import HOUR_US, CompanionLimits, Flag
from rules.quality.multivariate import multivariate
from rules.quality.neighbor import neighbor
from tests.rules.quality.library import MINUTE

NAN = float("nan")
# 25 h of cells that alternate about 25: a standard deviation of 0.25.
USUAL = [25.25 if place % 2 else 24.75 for place in range(300)]
LIMITS = CompanionLimits("temperature_2")
PASS, SUSPECT, NOT_EVALUATED = Flag.PASS, Flag.SUSPECT, Flag.NOT_EVALUATED


def moved(by: float, history=USUAL) -> list[float]:
    return [*history, history[-1] + by]


@pytest.mark.parametrize("test", [neighbor, multivariate])
@pytest.mark.parametrize(
    ("own", "other", "flag"),
    [
        (0.5, 0.0, PASS), (0.5 + 2**-20, 0.0, SUSPECT), (-0.5 - 2**-20, 0.0, SUSPECT),
        (1.0, 0.5 - 2**-20, SUSPECT), (1.0, 0.5, SUSPECT), (1.0, 0.5 + 2**-20, PASS),
        # In which direction the companion moves is not asked.
        (1.0, -1.0, PASS), (0.0, 1.0, PASS), (0.0, 0.0, PASS),
    ],
)  # fmt: skip
def test_one_that_moves_alone_is_suspect(test, own, other, flag):
    assert test(moved(own), moved(other), LIMITS) is flag


@pytest.mark.parametrize(
    ("least", "flag"), [(1 - 2**-20, SUSPECT), (1.0, PASS), (1 + 2**-20, PASS)], ids=["under", "at", "over"]
)
def test_a_change_up_to_the_least_is_no_move(least, flag):
    assert neighbor(moved(1.0), moved(0.0), CompanionLimits("x", least_change=least)) is flag


@pytest.mark.parametrize(
    ("own", "other"),
    [
        ([*USUAL, NAN], moved(0.0)),
        (moved(9.0), [*USUAL, NAN]),
        ([*USUAL[:-12], *[NAN] * 12, 34.0], moved(0.0)),
        (moved(9.0), [*USUAL[:-12], *[NAN] * 12, 25.0]),
        ([34.0], [25.0]),
        (moved(9.0, USUAL[:140]), moved(0.0, USUAL[:140])),
        (moved(9.0, [NAN] * 289 + USUAL[:11]), moved(0.0)),
    ],
    ids=["own is empty", "other is empty", "own was silent", "other was silent", "one cell", "short", "few"],
)
def test_nothing_is_evaluated_where_a_cell_or_half_the_window_is_missing(own, other):
    assert neighbor(own, other, LIMITS) is NOT_EVALUATED


def test_a_slow_probe_is_judged_from_one_reading_to_the_next():
    """Readings every half hour: five cells in six are empty."""
    slow = [value if place % 6 == 5 else NAN for place, value in enumerate(USUAL)]
    jump = [*slow, *[NAN] * 5, 30.0]
    still = [*slow, *[NAN] * 5, slow[-1]]
    assert neighbor(jump, still, LIMITS) is SUSPECT
    assert neighbor(jump, jump, LIMITS) is PASS
    assert neighbor(still, jump, LIMITS) is PASS
    # A quick companion is compared over the same half hour, however it moved in it.
    quick = [*USUAL, *[25.5, 26.0, 26.5, 27.0, 27.5], 28.0]
    assert neighbor(jump, quick, LIMITS) is PASS


def test_a_companion_that_has_more_time_is_measured_from_before():
    quick = [*USUAL, 30.0]
    slow = [*USUAL[:-2], NAN, NAN, 30.0]
    assert neighbor(quick, slow, LIMITS) is PASS
    assert neighbor(quick, [*USUAL[:-2], NAN, NAN, USUAL[-3]], LIMITS) is SUSPECT


def test_the_spread_of_both_is_taken_without_the_newest_cell():
    """Else a great jump in a short window would hide itself."""
    limits = CompanionLimits("x", window_us=HOUR_US)
    own = [25.25 if place % 2 else 24.75 for place in range(12)]
    assert neighbor([*own, 125.0], [*own, own[-1]], limits) is SUSPECT


cells = st.lists(st.one_of(st.just(NAN), st.floats(-50, 50)), min_size=1, max_size=60)


@given(cells, cells)
def test_what_is_older_than_the_window_and_an_hour_is_not_looked_at(own, other):
    limits = CompanionLimits("x", window_us=2 * HOUR_US)
    size = max(len(own), len(other))
    own, other = [NAN] * (size - len(own)) + own, [NAN] * (size - len(other)) + other
    past = [math.pi * place for place in range(100)]
    # Two hours are 24 cells, and companions are looked for an hour back, twice.
    if size > 24 + 24:
        assert neighbor(past + own, past + other, limits) is neighbor(own, other, limits)


def test_five_minutes_are_a_cell():
    assert CompanionLimits("x", window_us=HOUR_US).window_us // (5 * MINUTE) == 12
