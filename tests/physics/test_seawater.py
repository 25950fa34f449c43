"""Salinity, density and specific gravity against the published equations and their check values.

The equations of UNESCO's technical paper 44 are written out here, independently of `gsw`, and held to
the paper's check values first; those are quoted from memory.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.physics import (
    conductivity,
    density,
    practical_salinity,
    salinity_of_mass_concentration,
    salinity_of_specific_gravity,
    specific_gravity,
)

SALINITY = st.floats(2.0, 42.0)
CELSIUS = st.floats(0.0, 35.0)
# The reference temperatures of instruments, sample/water, degC.
PAIRS = {
    "60/60 degF": (15.5556, 15.5556),
    "20/20": (20.0, 20.0),
    "25/25": (25.0, 25.0),
    "15/4": (15.0, 4.0),
    "20/4": (20.0, 4.0),
    "25/4": (25.0, 4.0),
}


def _t90(t68: float) -> float:
    return t68 / 1.00024


def _pss78(conductivity: float, t90: float) -> float:
    """PSS-78 at the surface, UNESCO Technical Papers in Marine Science 44 (1983)."""
    t = 1.00024 * t90
    c = (0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9)
    a = (0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081)
    b = (0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144)
    root = math.sqrt(conductivity / 42.914 / sum(one * t**power for power, one in enumerate(c)))
    first = sum(one * root**power for power, one in enumerate(a))
    second = sum(one * root**power for power, one in enumerate(b))
    return first + (t - 15) / (1 + 0.0162 * (t - 15)) * second


def _eos80(salinity: float, t68: float) -> float:
    """Density at the surface, UNESCO 44 (Millero and Poisson 1981)."""
    water = (999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9)
    first = (8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9)
    half = (-5.72466e-3, 1.0227e-4, -1.6546e-6)
    return (
        sum(one * t68**power for power, one in enumerate(water))
        + salinity * sum(one * t68**power for power, one in enumerate(first))
        + salinity**1.5 * sum(one * t68**power for power, one in enumerate(half))
        + 4.8314e-4 * salinity**2
    )


# -- practical salinity ----------------------------------------------------------------------------


def test_standard_seawater_has_salinity_35() -> None:
    # UNESCO 44: R = 1 at 15 degC (IPTS-68) is 35. C(35, 15, 0) = 42.914 mS/cm: Culkin and Smith (1980).
    assert practical_salinity(42.914, _t90(15.0)) == pytest.approx(35.0, abs=5e-7)
    assert conductivity(35.0, _t90(15.0)) == pytest.approx(42.9140, abs=5e-5)


# Computed with gsw 3.6: they guard the units and the order of arguments.
@pytest.mark.parametrize(
    ("measured", "celsius", "expected"),
    [
        (53.0, 25.0, 34.947299),
        (50.0, 25.0, 32.733167),
        (48.0, 22.0, 33.461263),
        (55.0, 27.0, 34.878204),
        (40.0, 20.0, 28.604726),
    ],
)
def test_salinity_of_conductivity_and_temperature(measured: float, celsius: float, expected: float) -> None:
    assert practical_salinity(measured, celsius) == pytest.approx(expected, abs=5e-7)
    assert _pss78(measured, celsius) == pytest.approx(expected, abs=5e-7)


# Computed with gsw 3.6.
@pytest.mark.parametrize(
    ("salinity", "expected"),
    [
        (30, (41.748, 45.342, 46.253, 47.169, 49.014)),
        (34, (46.695, 50.704, 51.720, 52.741, 54.799)),
        (35, (47.918, 52.029, 53.071, 54.118, 56.228)),
        (36, (49.135, 53.348, 54.416, 55.489, 57.650)),
    ],
)
def test_conductivity_of_salinity_and_temperature(salinity: float, expected: tuple[float, ...]) -> None:
    found = [conductivity(salinity, celsius) for celsius in (20.0, 24.0, 25.0, 26.0, 28.0)]
    assert found == pytest.approx(expected, abs=5.1e-4)


@given(SALINITY, CELSIUS)
def test_agrees_with_the_written_out_practical_salinity_scale(salinity: float, celsius: float) -> None:
    measured = conductivity(salinity, celsius)
    assert _pss78(measured, celsius) == pytest.approx(salinity, abs=1e-6)
    assert practical_salinity(measured, celsius) == pytest.approx(salinity, abs=1e-6)


@given(st.floats(5.0, 70.0), st.floats(0.01, 1.0), CELSIUS)
def test_more_conductivity_is_more_salinity(measured: float, more: float, celsius: float) -> None:
    assert practical_salinity(measured + more, celsius) > practical_salinity(measured, celsius)


def test_a_dry_cell_reads_nothing() -> None:
    assert practical_salinity(0.0, 25.0) == 0.0


@pytest.mark.parametrize(("measured", "celsius"), [(math.nan, 25.0), (53.0, math.nan), (-1.0, 25.0)])
def test_what_has_no_salinity_is_not_a_number(measured: float, celsius: float) -> None:
    assert math.isnan(practical_salinity(measured, celsius))


# -- density ---------------------------------------------------------------------------------------


# Density check values of UNESCO 44, quoted from memory: salinity, IPTS-68 temperature, kg/m3.
@pytest.mark.parametrize(
    ("salinity", "t68", "expected"),
    [(0, 5, 999.96675), (0, 25, 997.04796), (35, 5, 1027.67547), (35, 25, 1023.34306)],
)
def test_written_out_equation_of_state_gives_its_check_values(
    salinity: float, t68: float, expected: float
) -> None:
    assert _eos80(salinity, t68) == pytest.approx(expected, abs=6e-6)
    # TEOS-10 replaced it; at the surface of a tank they differ by less than 0.003 kg/m3.
    assert density(salinity, _t90(t68)) == pytest.approx(expected, abs=3e-3)


@given(st.floats(0.0, 42.0), CELSIUS)
def test_density_agrees_with_the_older_equation_of_state(salinity: float, celsius: float) -> None:
    # 0.01 kg/m3 is 0.013 in salinity: below what a hydrometer shows.
    assert density(salinity, celsius) == pytest.approx(_eos80(salinity, 1.00024 * celsius), abs=1e-2)


# Pure water: Tanaka et al. (2001), adopted by the CIPM; quoted from memory, kg/m3.
@pytest.mark.parametrize(("celsius", "expected"), [(4.0, 999.975), (20.0, 998.207), (25.0, 997.047)])
def test_density_of_pure_water(celsius: float, expected: float) -> None:
    assert density(0.0, celsius) == pytest.approx(expected, abs=1.5e-3)


# Computed with gsw 3.6 (TEOS-10) at 60 degF, 20, 24, 25, 26, 27 degC.
@pytest.mark.parametrize(
    ("salinity", "expected"),
    [
        (34, (1025.083, 1024.003, 1022.887, 1022.588, 1022.281, 1021.966)),
        (35, (1025.852, 1024.765, 1023.644, 1023.343, 1023.035, 1022.719)),
        (36, (1026.622, 1025.528, 1024.401, 1024.099, 1023.789, 1023.472)),
    ],
)
def test_density_of_reef_water(salinity: float, expected: tuple[float, ...]) -> None:
    found = [density(salinity, celsius) for celsius in (15.5556, 20.0, 24.0, 25.0, 26.0, 27.0)]
    assert found == pytest.approx(expected, abs=1.2e-3)


# -- specific gravity ------------------------------------------------------------------------------


# Computed with the older equation of state (EOS-80), to five decimals.
@pytest.mark.parametrize(
    ("salinity", "expected"),
    [
        (30, (1.02301, 1.02279, 1.02259, 1.02215, 1.02098, 1.01959)),
        (34, (1.02609, 1.02584, 1.02561, 1.02523, 1.02402, 1.02261)),
        (35, (1.02686, 1.02660, 1.02637, 1.02600, 1.02479, 1.02337)),
        (36, (1.02763, 1.02737, 1.02713, 1.02677, 1.02555, 1.02412)),
    ],
)
def test_specific_gravity_at_every_pair_of_references(salinity: float, expected: tuple[float, ...]) -> None:
    found = [specific_gravity(salinity, *pair) for pair in PAIRS.values()]
    assert found == pytest.approx(expected, abs=1.0e-5)


# Computed with the older equation of state (EOS-80), to two decimals.
@pytest.mark.parametrize(
    ("gravity", "expected"),
    [
        (1.0230, (29.99, 30.28, 30.54)),
        (1.0250, (32.59, 32.90, 33.19)),
        (1.0260, (33.88, 34.21, 34.51)),
        (1.0264, (34.40, 34.73, 35.04)),
        (1.0270, (35.18, 35.52, 35.83)),
    ],
)
def test_salinity_of_specific_gravity(gravity: float, expected: tuple[float, ...]) -> None:
    found = [salinity_of_specific_gravity(gravity, *PAIRS[pair]) for pair in ("60/60 degF", "20/20", "25/25")]
    assert found == pytest.approx(expected, abs=0.011)


@given(st.floats(0.0, 42.0), st.sampled_from(sorted(PAIRS)))
def test_there_and_back_through_specific_gravity(salinity: float, pair: str) -> None:
    gravity = specific_gravity(salinity, *PAIRS[pair])
    assert salinity_of_specific_gravity(gravity, *PAIRS[pair]) == pytest.approx(salinity, abs=1e-6)


@pytest.mark.parametrize("gravity", [0.9999, 0.5, 1.2, 35.0, -1.0, math.inf])
def test_what_no_seawater_weighs_is_refused(gravity: float) -> None:
    with pytest.raises(ValueError, match="no seawater"):
        salinity_of_specific_gravity(gravity, 25.0, 25.0)


@pytest.mark.parametrize("salinity", [0.0, 1e-4, 0.01])
def test_the_lightest_seawater_is_fresh(salinity: float) -> None:
    gravity = _eos80(salinity, 25.006) / _eos80(0.0, 25.006)
    # Relatively, the two equations differ most where there is next to no salt.
    assert salinity_of_specific_gravity(gravity, 25.0, 25.0) == pytest.approx(salinity, rel=2e-2, abs=1e-9)


def test_the_same_number_means_another_salinity_with_another_pair() -> None:
    low = salinity_of_specific_gravity(1.0264, *PAIRS["60/60 degF"])
    assert salinity_of_specific_gravity(1.0264, *PAIRS["25/25"]) - low == pytest.approx(0.64, abs=0.02)


# -- mass of salt ----------------------------------------------------------------------------------


def test_salinity_35_holds_36_grams_a_litre() -> None:
    # 35.986 g/L at 25 degC, computed: 35.16504 g/kg (Millero et al. 2008) times density.
    assert salinity_of_mass_concentration(35.986, 25.0) == pytest.approx(35.0, abs=6e-4)


@given(st.floats(0.0, 42.0), CELSIUS)
def test_there_and_back_through_grams_a_litre(salinity: float, celsius: float) -> None:
    grams = salinity * 35.16504 / 35.0 * density(salinity, celsius) / 1000.0
    assert salinity_of_mass_concentration(grams, celsius) == pytest.approx(salinity, abs=1e-6)


@pytest.mark.parametrize("grams", [-0.001, 200.0, math.inf])
def test_what_no_seawater_holds_is_refused(grams: float) -> None:
    with pytest.raises(ValueError, match="no seawater"):
        salinity_of_mass_concentration(grams, 25.0)


def test_not_a_number_stays_one() -> None:
    assert math.isnan(salinity_of_specific_gravity(math.nan, 20.0, 20.0))
    assert math.isnan(salinity_of_mass_concentration(math.nan, 25.0))
