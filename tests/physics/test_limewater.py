"""Limewater and the carbonate system, against PyCO2SYS and a table that it computed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.physics import alkalinity_after, alkalinity_rise, carbon_of, ph_after, ph_of
from rules.physics.limewater import MEQ_PER_LITRE, NBS_ABOVE_TOTAL, USUAL_ALKALINITY

# Computed by PyCO2SYS 1.8.3.4 (K1 and K2 of Lueker 2000, borate of Lee 2010, total scale), 400 L, 25 degC,
# S 35, alkalinity 2500 umol/kg, closed: litres, rise in umol/kg, in meq/L, pH (NBS) from 8.137 and 8.337.
ON_TOP = [
    (1, 92.87, 0.0950, 8.2737, 8.4470),
    (2, 185.29, 0.1896, 8.3880, 8.5437),
    (4, 368.79, 0.3774, 8.5759, 8.7117),
    (8, 730.53, 0.7476, 8.8715, 8.9958),
    (12, 1085.42, 1.1108, 9.1263, 9.2580),
]
# The same in place of what evaporated: litres, rise in meq/L, pH on the total scale from 8.00.
IN_PLACE = [(1, 0.1015, 8.1360), (2, 0.2030, 8.2494), (4, 0.4060, 8.4357), (8, 0.8120, 8.7281)]


@pytest.mark.parametrize(("litres", "per_kg", "per_litre", "low", "high"), ON_TOP)
def test_limewater_on_top(litres, per_kg, per_litre, low, high):
    assert alkalinity_after(400.0, litres) - USUAL_ALKALINITY == pytest.approx(per_kg, abs=0.02)
    assert alkalinity_rise(400.0, litres) == pytest.approx(per_litre, abs=2e-4)
    # The stated error of the small system is 0.01; over this table it is below 0.002.
    assert ph_after(400.0, litres, 8.137) == pytest.approx(low, abs=0.002)
    assert ph_after(400.0, litres, 8.337) == pytest.approx(high, abs=0.002)


@pytest.mark.parametrize(("litres", "per_litre", "total"), IN_PLACE)
def test_limewater_in_place_of_what_evaporated(litres, per_litre, total):
    assert alkalinity_rise(400.0, litres, replaces=True) == pytest.approx(per_litre, rel=2e-3)
    assert ph_after(400.0, litres, 8.0 + NBS_ABOVE_TOTAL, replaces=True) - NBS_ABOVE_TOTAL == pytest.approx(
        total, abs=0.002
    )


def test_a_litre_in_a_hundred_adds_what_saturation_gives():
    """20.3 mmol/L at two equivalents a mole (Bates, Bower and Smith 1956): 0.406 meq/L in 100 L."""
    assert MEQ_PER_LITRE == 2 * 20.3
    assert alkalinity_rise(100.0, 1.0, replaces=True) == pytest.approx(0.406, abs=1e-3)


def test_carbon_of_a_known_state():
    """PyCO2SYS: alkalinity 2500, pH (total) 8.20, S 35, 25 degC has DIC 2072.468 umol/kg."""
    assert carbon_of(2500.0, 8.20) == pytest.approx(2072.468, abs=0.2)


@pytest.mark.parametrize("temperature", [20.0, 25.0, 30.0])
@pytest.mark.parametrize("salinity", [30.0, 35.0, 38.0])
def test_ph_is_that_of_the_reference_library(salinity, temperature):
    library = pytest.importorskip("PyCO2SYS", reason="GPL: a test extra")
    alkalinity, carbon = np.meshgrid(np.linspace(2000, 4000, 9), np.linspace(1400, 2300, 10))
    found = library.sys(
        par1=alkalinity,
        par2=carbon,
        par1_type=1,
        par2_type=2,
        salinity=salinity,
        temperature=temperature,
        opt_k_carbonic=10,
        opt_total_borate=2,
        opt_pH_scale=1,
    )["pH"]
    within = (found > 7.5) & (found < 9.3)
    assert within.sum() > 25
    ours = [
        ph_of(a, c, salinity, temperature)
        for a, c in zip(alkalinity[within].tolist(), carbon[within].tolist(), strict=True)
    ]
    assert np.abs(np.array(ours) - found[within]).max() < 0.01


@given(st.floats(1800.0, 4500.0), st.floats(7.4, 9.5))
def test_carbon_and_ph_are_inverse(alkalinity, ph):
    assert ph_of(alkalinity, carbon_of(alkalinity, ph)) == pytest.approx(ph, abs=1e-5)


def test_plain_fresh_water_hardly_moves_ph():
    """Computed by PyCO2SYS: 4, 8 and 20 L on 400 L move pH by +0.003, +0.006 and +0.014."""
    for litres, rise in ((4.0, 0.003), (8.0, 0.006), (20.0, 0.014)):
        share = 400.0 * 1.02334 / (400.0 * 1.02334 + litres * 0.997)
        after = ph_of(2500.0 * share, carbon_of(2500.0, 8.0) * share, 35.0 * share)
        assert after - 8.0 == pytest.approx(rise, abs=0.0015)


def test_a_tank_without_volume_is_refused():
    with pytest.raises(ValueError, match="a volume above 0"):
        alkalinity_after(0.0, 1.0)
