"""Evaporation against conservation of mass, computed elsewhere."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.physics import (
    fresh_litres_per_hour,
    greatest_salinity_rise_per_hour,
    level_fall_per_hour,
    salinity_after,
    salinity_rise_per_hour,
)


@pytest.mark.parametrize(
    ("volume", "a_day", "expected"),
    # Computed: S1 m / (m - 0.997 X) - S1; 400 L that lose 2, 4 and 8 L end at 35.1713, 35.3444 and 35.6956.
    [(400.0, 24 * 2.0, 0.1713), (400.0, 24 * 4.0, 0.3444), (400.0, 24 * 8.0, 0.6956), (80.0, 24.0, 0.4315)],
)
def test_salinity_rises_by_what_evaporates(volume, a_day, expected):
    assert salinity_rise_per_hour(volume, a_day) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(("a_day", "expected"), [(4.0, 0.0926), (24.0, 0.5556)])
def test_level_falls_by_what_evaporates(a_day, expected):
    """0.18 m2 are 5.56 mm a litre: 4 L/day are 0.93 mm/h, 1 L/h is 5.6 mm/h (arithmetic)."""
    assert level_fall_per_hour(a_day, 0.18) == pytest.approx(expected, abs=5e-4)


def test_no_tank_evaporates_faster_than_the_greatest_rise():
    # Twice what an ASHRAE estimate gives for a fan over the whole surface, 2 % of the volume a day.
    assert salinity_rise_per_hour(400.0, 8.3) < greatest_salinity_rise_per_hour() < 0.07


@given(st.floats(50.0, 2000.0), st.floats(30.0, 38.0), st.floats(-0.002, 0.01))
def test_litres_explain_the_slope_that_they_make(volume, salinity, share):
    litres = volume * share
    slope = salinity_after(volume, salinity, litres) - salinity
    assert fresh_litres_per_hour(volume, salinity, slope) == pytest.approx(litres, rel=0.02, abs=1e-9)
