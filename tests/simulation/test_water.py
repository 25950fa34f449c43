"""The water balance of the simulated tank against conservation of mass, computed elsewhere."""

from __future__ import annotations

import pytest

from collector.simulation.water import WaterBalance


def _water(volume: float = 400.0, reservoir: float = 100.0) -> WaterBalance:
    return WaterBalance(volume, 35.0, 0.18, reservoir, 22.0)


# Computed values: S2 = S1 m / (m + 0.997 X), density of seawater by TEOS-10.
@pytest.mark.parametrize(
    ("volume", "litres", "expected"),
    [
        (400, 1, 34.9150),
        (400, 4, 34.6623),
        (400, 8, 34.3310),
        (400, 20, 33.3742),
        (80, 1, 34.5789),
        (1500, 10, 34.7741),
    ],
)
def test_fresh_water_on_top_dilutes_the_salt(volume: float, litres: float, expected: float) -> None:
    water = _water(volume)
    water.top_off(litres)
    assert water.practical_salinity == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize(
    ("volume", "litres", "expected"),
    [(400, 2, 35.1713), (400, 4, 35.3444), (400, 8, 35.6956), (80, 1, 35.4315)],
)
def test_evaporation_leaves_the_salt(volume: float, litres: float, expected: float) -> None:
    water = _water(volume)
    water.evaporate(litres)
    # The computed values use density 1023.34 kg/m3 as here; 8 L is rounded at the last digit.
    assert water.practical_salinity == pytest.approx(expected, abs=3e-4)


def test_level_falls_by_5_56_millimetres_a_litre() -> None:
    water = _water()
    water.evaporate(1.0)
    assert 22.0 - water.level_cm == pytest.approx(0.556, abs=0.001)


def test_topping_off_what_evaporated_brings_everything_back() -> None:
    water = _water()
    water.evaporate(4.0)
    assert water.top_off(4.0) == 4.0
    assert water.practical_salinity == pytest.approx(35.0)
    assert water.level_cm == pytest.approx(22.0)
    assert water.reservoir_litres == pytest.approx(96.0)


def test_a_leak_lowers_the_level_and_not_the_salinity() -> None:
    water = _water()
    water.leak(2.0)
    assert water.practical_salinity == pytest.approx(35.0)
    assert water.level_cm < 21.0


def test_a_leak_that_is_topped_off_lowers_the_salinity() -> None:
    water = _water()
    water.leak(4.0)
    water.top_off(4.0)
    assert water.practical_salinity < 34.7


@pytest.mark.parametrize(("reservoir", "pumped"), [(0.9, 0.9), (1.0, 1.0), (1.1, 1.0)])
def test_an_empty_reservoir_gives_no_more_than_it_has(reservoir: float, pumped: float) -> None:
    water = _water(reservoir=reservoir)
    assert water.top_off(1.0) == pumped
    assert water.reservoir_litres == pytest.approx(reservoir - pumped)
