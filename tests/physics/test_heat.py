"""The lumped heat balance against values computed elsewhere from the same equation.

The scenarios assume UA of 20 W/K at 400 L, growing with the surface, a heater of 1 W/L, other equipment of
0.15 W/L, evaporation of 1 % a day, a setpoint of 25.5 and a room of 21 degC; where a chiller is lost, a room
of 30 degC, 0.30 W/L and 0.5 % a day. Common practice, no source.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.physics import HeatBalance, evaporation_watts, heat_capacity

SETPOINT = 25.5
VOLUMES = (80.0, 400.0, 1500.0)


def _balance(volume: float, room: float, watts: float, evaporation_percent: float) -> HeatBalance:
    return HeatBalance(
        heat_capacity(volume),
        20.0 * (volume / 400.0) ** (2 / 3),
        room,
        watts - evaporation_watts(volume * evaporation_percent / 100.0),
    )


def _hours(balance: HeatBalance, target: float) -> float:
    seconds = balance.time_to_reach(target, SETPOINT)
    assert seconds is not None
    return seconds / 3600.0


# -- properties of water ---------------------------------------------------------------------------


def test_heat_capacity_of_400_litres() -> None:
    # TEOS-10: rho cp = 4.0923 MJ/(m3 K) at S 35 and 25 degC, computed with gsw 3.6.
    assert heat_capacity(400.0) == pytest.approx(1.6369e6, rel=4e-5)
    # The older equation of state (UNESCO 44) gives cp = 3997.69 J/(kg K) and 1023.343 kg/m3.
    assert heat_capacity(400.0) == pytest.approx(3997.69 * 1.023343 * 400.0, rel=5e-4)


@pytest.mark.parametrize(("litres", "kelvin"), [(100.0, 8.797), (400.0, 2.1993), (1000.0, 0.8797)])
def test_one_kilowatt_hour(litres: float, kelvin: float) -> None:
    assert 3.6e6 / heat_capacity(litres) == pytest.approx(kelvin, rel=6e-5)


def test_one_litre_a_day_takes_28_watts() -> None:
    assert evaporation_watts(1.0, 25.0) == pytest.approx(28.1, abs=0.05)  # computed
    # Steam tables: 2441.7 kJ/kg at 25 degC, quoted from memory; TEOS-10 is 0.1 % below.
    assert evaporation_watts(1.0, 25.0) == pytest.approx(0.997 * 2441.7e3 / 86400.0, rel=2e-3)


# Latent heat of fresh water, MJ/kg, computed with gsw 3.6.
@pytest.mark.parametrize(
    ("celsius", "expected"), [(0, 2.4990), (10, 2.4751), (20, 2.4511), (30, 2.4270), (40, 2.4026)]
)
def test_warm_water_evaporates_more_easily(celsius: float, expected: float) -> None:
    latent_heat = evaporation_watts(1.0, celsius) * 86400.0 / 0.997
    assert latent_heat / 1e6 == pytest.approx(expected, abs=6e-5)


# -- cooling ---------------------------------------------------------------------------------------


def test_a_hundred_watts_move_400_litres_by_a_fifth_of_a_degree_an_hour() -> None:
    balance = HeatBalance(heat_capacity(400.0), 20.0, 25.0, 100.0)
    assert balance.rate_per_hour(25.0) == pytest.approx(0.21993, abs=1e-5)


# 400 L, 20 W/K, from 25.5 in a room of 18 degC without sources: computed values.
@pytest.mark.parametrize(
    ("hours", "expected"), [(1, 25.1773), (2, 24.8684), (4, 24.2900), (8, 23.2752), (24, 20.6098)]
)
def test_pure_cooling(hours: float, expected: float) -> None:
    balance = HeatBalance(heat_capacity(400.0), 20.0, 18.0)
    assert balance.time_constant_s / 3600.0 == pytest.approx(22.735, abs=6e-4)
    assert balance.temperature_after(hours * 3600.0, 25.5) == pytest.approx(expected, abs=6e-5)
    assert balance.time_to_reach(expected, 25.5) == pytest.approx(hours * 3600.0, rel=2e-4)


# -- what a fault does, by volume ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volume", "loss", "hours", "heater"),
    [(80.0, 6.84, 13.3, 41.3), (400.0, 20.0, 22.7, 142.6), (1500.0, 48.3, 35.3, 414.0)],
)
def test_a_sound_tank(volume: float, loss: float, hours: float, heater: float) -> None:
    balance = _balance(volume, 21.0, 0.15 * volume, 1.0)
    assert balance.loss == pytest.approx(loss, rel=2e-3)
    assert balance.time_constant_s / 3600.0 == pytest.approx(hours, abs=0.06)
    needed = balance.loss * (SETPOINT - balance.end_temperature)
    assert needed == pytest.approx(heater, abs=0.5 if volume > 1000 else 0.06)


# First rate in degC/h, hours to three temperatures, and the end: computed, rounded as shown.
@pytest.mark.parametrize(
    ("volume", "rate", "hours", "end"),
    [
        (80.0, -0.454, (1.15, 2.41, 5.35), 19.5),
        (400.0, -0.314, (1.65, 3.44, 7.49), 18.4),
        (1500.0, -0.243, (2.12, 4.37, 9.37), 16.9),
    ],
)
def test_heater_failed_off(volume: float, rate: float, hours: tuple[float, ...], end: float) -> None:
    balance = _balance(volume, 21.0, 0.15 * volume, 1.0)
    assert balance.rate_per_hour(SETPOINT) == pytest.approx(rate, abs=6e-4)
    assert [_hours(balance, SETPOINT - drop) for drop in (0.5, 1.0, 2.0)] == pytest.approx(hours, abs=6e-3)
    assert balance.end_temperature == pytest.approx(end, abs=0.06)


@pytest.mark.parametrize(
    ("volume", "rate", "hours", "danger", "end"),
    [
        (80.0, 0.426, (1.23, 2.59, 5.80), 21.1, 31.2),
        (400.0, 0.566, (0.90, 1.84, 3.84), 9.8, 38.4),
        (1500.0, 0.637, (0.79, 1.61, 3.29), 7.9, 48.0),
    ],
)
def test_heater_stuck_on(
    volume: float, rate: float, hours: tuple[float, ...], danger: float, end: float
) -> None:
    balance = _balance(volume, 21.0, 1.15 * volume, 1.0)
    assert balance.rate_per_hour(SETPOINT) == pytest.approx(rate, abs=6e-4)
    assert [_hours(balance, SETPOINT + rise) for rise in (0.5, 1.0, 2.0)] == pytest.approx(hours, abs=6e-3)
    assert _hours(balance, 30.0) == pytest.approx(danger, abs=0.06)
    assert balance.end_temperature == pytest.approx(end, abs=0.06)


@pytest.mark.parametrize(
    ("volume", "rate", "hours"),
    [
        (80.0, 0.479, (1.09, 2.27, 5.02)),
        (400.0, 0.338, (1.53, 3.17, 6.85)),
        (1500.0, 0.268, (1.92, 3.95, 8.40)),
    ],
)
def test_chiller_lost(volume: float, rate: float, hours: tuple[float, ...]) -> None:
    balance = _balance(volume, 30.0, 0.30 * volume, 0.5)
    assert balance.rate_per_hour(SETPOINT) == pytest.approx(rate, abs=6e-4)
    assert [_hours(balance, SETPOINT + rise) for rise in (0.5, 1.0, 2.0)] == pytest.approx(hours, abs=6e-3)


@pytest.mark.parametrize("volume", VOLUMES)
def test_fan_stops(volume: float) -> None:
    saved = evaporation_watts(volume * 0.01) - evaporation_watts(volume * 0.003)
    assert saved / heat_capacity(volume) * 3600.0 == pytest.approx(0.173, abs=6e-4)


# -- laws ------------------------------------------------------------------------------------------

BALANCES = st.builds(
    HeatBalance, st.floats(1e5, 1e7), st.floats(1.0, 100.0), st.floats(10.0, 35.0), st.floats(-500.0, 500.0)
)


@given(BALANCES, st.floats(15.0, 35.0), st.floats(1.0, 1e5))
def test_time_to_reach_undoes_temperature_after(balance: HeatBalance, start: float, seconds: float) -> None:
    target = balance.temperature_after(seconds, start)
    if abs(target - balance.end_temperature) > 1e-3 and abs(start - target) > 1e-3:
        assert balance.time_to_reach(target, start) == pytest.approx(seconds, rel=1e-6)


@given(BALANCES, st.floats(15.0, 35.0), st.floats(1.0, 1e5))
def test_two_stretches_are_one(balance: HeatBalance, start: float, seconds: float) -> None:
    middle = balance.temperature_after(seconds / 3, start)
    assert balance.temperature_after(seconds * 2 / 3, middle) == pytest.approx(
        balance.temperature_after(seconds, start)
    )


COOLING = HeatBalance(1.6369e6, 20.0, 18.0)


@pytest.mark.parametrize(
    ("target", "start"),
    [
        (26.0, 25.0),  # it cools
        (17.9, 25.0),  # the room is warmer
        (18.0, 25.0),  # nearer and nearer, never there
        (19.0, 18.0),  # at rest
    ],
)
def test_never_reached_is_none(target: float, start: float) -> None:
    assert COOLING.time_to_reach(target, start) is None


def test_already_there_takes_no_time() -> None:
    assert COOLING.time_to_reach(25.0, 25.0) == 0.0
    assert COOLING.time_to_reach(18.0, 18.0) == 0.0


@pytest.mark.parametrize(("capacity", "loss"), [(0.0, 20.0), (1e6, 0.0), (-1.0, 20.0), (math.nan, 20.0)])
def test_no_body_of_water(capacity: float, loss: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        HeatBalance(capacity, loss, 21.0)
