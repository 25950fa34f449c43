"""The rate of change by a series' own spread, against numpy over the same window."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import HOUR_US, RateOfChangeLimits
from rules.quality.spread import CELL_US, FEWEST, Spread
from tests.rules.quality.library import MINUTE, START_US, Case, every, ours

CELL = START_US - START_US % CELL_US


@given(
    st.lists(st.tuples(st.integers(1, 4000), st.floats(-100, 100)), min_size=1, max_size=120),
    st.integers(1, 48),
)
def test_the_deviation_is_that_of_the_readings_in_the_window(drawn, hours):
    spread = Spread(hours * HOUR_US)
    times, values = [], []
    now_us = START_US
    for seconds, value in drawn:
        now_us += seconds * 1_000_000
        if now_us >= spread.end_us:
            spread.close(now_us)
        number = now_us // CELL_US
        inside = [
            v
            for t, v in zip(times, values, strict=True)
            if number - hours * HOUR_US // CELL_US <= t // CELL_US < number
        ]
        oldest = min((t // CELL_US for t in times if number - t // CELL_US <= hours * 12), default=number)
        if len(inside) >= FEWEST and number - oldest >= hours * 6:
            assert spread.deviation == pytest.approx(np.std(inside), abs=1e-6)
        else:
            assert np.isnan(spread.deviation)
        spread.readings.append(value)
        times.append(now_us)
        values.append(value)


def test_the_deviation_does_not_know_what_went_before_its_window():
    """A wild past leaves no trace, not even by rounding: a restart finds the very same."""
    chance = np.random.default_rng(3)
    calm = chance.normal(25, 0.02, 240).tolist()
    spreads = [Spread(2 * HOUR_US), Spread(2 * HOUR_US)]
    for place, value in enumerate(chance.normal(0, 1e6, 500).tolist()):
        time_us = CELL + place * MINUTE
        if time_us >= spreads[0].end_us:
            spreads[0].close(time_us)
        spreads[0].readings.append(value)
    for spread in spreads:
        for place, value in enumerate(calm):
            time_us = CELL + (500 + place) * MINUTE
            if time_us >= spread.end_us:
                spread.close(time_us)
            spread.readings.append(value)
    assert spreads[0].deviation == spreads[1].deviation > 0


def flags(values, limits: RateOfChangeLimits, step_us: int = MINUTE) -> list[int]:
    return ours(Case("rate_of_change", limits, values, every(step_us, len(values), CELL)))


# Alternating -0.5 and 0.5: the standard deviation is 0.5 whatever whole cells are in the window.
QUIET = [0.5 if place % 2 else -0.5 for place in range(200)]


@pytest.mark.parametrize(
    ("change", "flag"), [(1.5 - 2**-20, 1), (1.5, 1), (1.5 + 2**-20, 3)], ids=["under", "at", "over"]
)
def test_a_change_is_suspect_beyond_so_many_deviations(change, flag):
    limits = RateOfChangeLimits(deviations=3.0, window_us=2 * HOUR_US)
    found = flags([*QUIET[:120], QUIET[119] + change], limits, step_us=CELL_US // 6)
    assert found[-1] == flag


@pytest.mark.parametrize(
    ("change", "flag"), [(1.75 - 2**-20, 1), (1.75, 1), (1.75 + 2**-20, 3)], ids=["under", "at", "over"]
)
def test_a_change_up_to_the_least_is_never_suspect_by_deviations(change, flag):
    limits = RateOfChangeLimits(deviations=3.0, window_us=2 * HOUR_US, least_change=1.75)
    assert flags([*QUIET[:120], QUIET[119] + change], limits, step_us=CELL_US // 6)[-1] == flag


def test_a_step_of_a_coarse_probe_in_still_water_is_not_suspect():
    """25 h without a step have no spread at all."""
    limits = RateOfChangeLimits(deviations=3.0, least_change=0.125)
    values = [25.0] * (26 * 60) + [25.0625] * 5 + [25.0] * 5
    assert set(flags(values, limits)[26 * 30 :]) == {1}
    without = RateOfChangeLimits(deviations=3.0)
    assert 3 in flags(values, without)


@pytest.mark.parametrize(("cells", "flag"), [(149, 2), (150, 2), (151, 1)])
def test_nothing_is_evaluated_until_half_the_window_is_known(cells, flag):
    """25 h are 300 cells; the readings of a cell count when it is closed."""
    assert flags(QUIET * 2, RateOfChangeLimits(deviations=3.0), step_us=CELL_US)[cells - 1] == flag


def test_a_fixed_rate_judges_meanwhile():
    limits = RateOfChangeLimits(60.0, 3.0)
    assert flags([0.0, 0.5, 2.0, 2.0], limits) == [2, 1, 3, 1]


def test_either_limit_makes_a_change_suspect():
    limits = RateOfChangeLimits(600.0, 3.0, 2 * HOUR_US)
    values = [*QUIET[:120], 2.5, 0.5, 0.5]
    assert flags(values, limits, step_us=CELL_US // 6)[-3:] == [3, 3, 1]


def test_an_outage_of_the_window_empties_it():
    limits = RateOfChangeLimits(deviations=3.0, window_us=2 * HOUR_US)
    times_us = every(MINUTE, 200, CELL) + every(MINUTE, 30, CELL + 10 * HOUR_US)
    found = ours(Case("rate_of_change", limits, QUIET + QUIET[:30], times_us, HOUR_US))
    assert found[199] == 1
    assert set(found[200:]) == {2}
