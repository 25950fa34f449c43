"""Water and salt balance against conservation of mass, computed elsewhere."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.physics import density, fresh_litres_added, level_change_cm, salinity_after
from rules.physics.water import FRESH_WATER_KG_PER_LITRE, SEAWATER_KG_PER_LITRE


# Computed: S2 = S1 m / (m + 0.997 X). Below 0 is evaporation.
@pytest.mark.parametrize(
    ("volume", "litres", "expected"),
    [
        (400, 1, 34.9150),
        (400, 4, 34.6623),
        (400, 8, 34.3310),
        (400, 20, 33.3742),
        (80, 1, 34.5789),
        (1500, 10, 34.7741),
        (400, -2, 35.1713),
        (400, -4, 35.3444),
        (400, -8, 35.6956),
        (80, -1, 35.4315),
    ],
)
def test_salinity_after_fresh_water_came_or_went(volume: float, litres: float, expected: float) -> None:
    assert salinity_after(volume, 35.0, litres) == pytest.approx(expected, abs=1e-4)


def test_densities_are_those_of_25_degrees() -> None:
    assert density(0.0, 25.0) / 1000.0 == pytest.approx(FRESH_WATER_KG_PER_LITRE, abs=5e-5)
    assert density(35.0, 25.0) / 1000.0 == pytest.approx(SEAWATER_KG_PER_LITRE, abs=5e-6)


# 0.18 m2: 5.56 mm a litre; 4 L/day are 0.93 mm/h (arithmetic).
@pytest.mark.parametrize(("litres", "expected"), [(1.0, 0.556), (4.0 / 24.0, 0.0926), (-1.0, -0.556)])
def test_level_in_a_sump(litres: float, expected: float) -> None:
    assert level_change_cm(litres, 0.18) == pytest.approx(expected, abs=5e-4)


@given(st.floats(20.0, 2000.0), st.floats(5.0, 42.0), st.floats(-0.2, 0.5))
def test_litres_explain_the_salinity_they_cause(volume: float, salinity: float, share: float) -> None:
    litres = volume * share
    after = salinity_after(volume, salinity, litres)
    assert fresh_litres_added(volume, salinity, after) == pytest.approx(litres, abs=1e-6 * volume)


@given(st.floats(20.0, 2000.0), st.floats(0.01, 0.5))
def test_fresh_water_dilutes_and_evaporation_concentrates(volume: float, share: float) -> None:
    assert salinity_after(volume, 35.0, volume * share) < 35.0 < salinity_after(volume, 35.0, -volume * share)


def test_more_cannot_evaporate_than_there_is() -> None:
    with pytest.raises(ValueError, match="cannot lose"):
        salinity_after(10.0, 35.0, -11.0)


@pytest.mark.parametrize(("before", "after"), [(0.0, 35.0), (35.0, 0.0)])
def test_water_without_salt_is_not_diluted(before: float, after: float) -> None:
    with pytest.raises(ValueError, match="salinities above 0"):
        fresh_litres_added(400.0, before, after)


def test_a_vessel_without_area_is_refused() -> None:
    with pytest.raises(ValueError, match="an area above 0"):
        level_change_cm(1.0, 0.0)
