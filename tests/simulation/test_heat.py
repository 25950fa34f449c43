"""The heat balance of the simulated tank against values computed elsewhere from the same equation."""

from __future__ import annotations

import pytest

from collector.simulation.heat import Thermostat, evaporation_watts, heat_capacity, temperature_after

# TEOS-10 through gsw, S 35, 25 degC, computed values.
CAPACITY_400_L = 1.6369e6


def test_heat_capacity_of_400_litres_of_seawater() -> None:
    assert heat_capacity(400.0, 35.0, 25.0) == pytest.approx(CAPACITY_400_L, rel=5e-5)


def test_heat_capacity_grows_with_the_volume() -> None:
    assert heat_capacity(800.0, 35.0, 25.0) == pytest.approx(2 * heat_capacity(400.0, 35.0, 25.0))


def test_one_litre_a_day_takes_28_watts() -> None:
    # Latent heat of fresh water at 25 degC (TEOS-10), computed value.
    assert evaporation_watts(1.0, 25.0) == pytest.approx(28.1, abs=0.05)


@pytest.mark.parametrize(
    ("hours", "expected"), [(1, 25.1773), (2, 24.8684), (4, 24.2900), (8, 23.2752), (24, 20.6098)]
)
def test_pure_cooling_follows_the_exponential(hours: int, expected: float) -> None:
    """400 L, UA 20 W/K, from 25.5 in a room of 18 degC, no sources: computed values."""
    at = temperature_after(hours * 3600.0, 25.5, 18.0, 0.0, 20.0, CAPACITY_400_L)
    assert at == pytest.approx(expected, abs=2e-4)


def test_hundred_watts_without_loss_warm_400_litres_by_a_fifth_of_a_degree_an_hour() -> None:
    # 0.21993 K/h (computed value): the loss at the start is zero where water and room are alike.
    at = temperature_after(36.0, 25.0, 25.0, 100.0, 1e-6, CAPACITY_400_L)
    assert (at - 25.0) * 100 == pytest.approx(0.21993, rel=1e-4)


def test_many_short_steps_are_one_long_step() -> None:
    temperature = 25.5
    for _ in range(360):
        temperature = temperature_after(10.0, temperature, 20.0, 60.0, 20.0, CAPACITY_400_L)
    assert temperature == pytest.approx(temperature_after(3600.0, 25.5, 20.0, 60.0, 20.0, CAPACITY_400_L))


@pytest.mark.parametrize(
    ("was_on", "temperature", "is_on"),
    [
        (False, 25.36, False),
        (False, 25.35, True),
        (False, 25.34, True),
        (True, 25.64, True),
        (True, 25.65, False),
        (True, 25.66, False),
    ],
)
def test_thermostat_switches_at_the_edges_of_its_hysteresis(
    was_on: bool, temperature: float, is_on: bool
) -> None:
    thermostat = Thermostat(25.5, 0.3)
    thermostat.decide(20.0 if was_on else 30.0)
    assert thermostat.decide(temperature) is is_on
