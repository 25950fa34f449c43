"""The simulated tank: the same for the same seed, and warm, salty and full as physics says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from collector.simulation import (
    HeaterFailedOff,
    HeaterStuckOn,
    Leak,
    ProbeSilent,
    ProbeStuck,
    SimulatedFault,
    SimulatedTank,
    TankSettings,
    TopOffFailed,
    TopOffStuckOn,
)
from rules import HOUR_US, MICROSECONDS

# Midnight of 2 March 2026 UTC.
START_US = 1_772_409_600 * MICROSECONDS
DAY_US = 24 * HOUR_US
MINUTE_US = HOUR_US // 60

# The plain tank of the scenario table: nothing but heater, equipment, evaporation and a steady room.
PLAIN = TankSettings(room_swing=0.0, room_wander=0.0, lights_watts=0.0)


def _tank(settings: TankSettings = PLAIN, *faults: SimulatedFault, seed: int = 1) -> SimulatedTank:
    return SimulatedTank(settings, seed=seed, start_us=START_US, faults=faults)


def _hours_to(tank: SimulatedTank, temperature: float) -> float:
    started_us, rises = tank.now_us, temperature > tank.temperature
    while (tank.temperature < temperature) == rises:
        tank.advance_to(tank.now_us + MINUTE_US)
        assert tank.now_us < started_us + 5 * DAY_US
    return (tank.now_us - started_us) / HOUR_US


# Scenario table, 400 L row (computed values): hours to a change of temperature, from the setpoint.
# Top-off water at room temperature is 0.04 of what evaporation takes, and the table leaves it out:
# 4 L/day * 4.17 kJ/(L K) * 4.5 K = 0.9 W in 142.6 W.
@pytest.mark.parametrize(("change", "hours"), [(-0.5, 1.65), (-1.0, 3.44), (-2.0, 7.49)])
def test_water_cools_as_the_heat_balance_says_when_the_heater_fails_off(change: float, hours: float) -> None:
    tank = _tank(PLAIN, HeaterFailedOff(START_US))
    assert _hours_to(tank, 25.5 + change) == pytest.approx(hours, rel=0.015)


@pytest.mark.parametrize(("change", "hours"), [(0.5, 0.90), (1.0, 1.84), (2.0, 3.84), (4.5, 9.8)])
def test_water_warms_as_the_heat_balance_says_when_the_heater_sticks_on(change: float, hours: float) -> None:
    tank = _tank(PLAIN, HeaterStuckOn(START_US))
    assert _hours_to(tank, 25.5 + change) == pytest.approx(hours, rel=0.025)


@pytest.mark.parametrize(
    ("fault", "rate"), [(HeaterFailedOff(START_US), -0.314), (HeaterStuckOn(START_US), 0.566)]
)
def test_first_rate_of_a_heater_fault(fault: SimulatedFault, rate: float) -> None:
    tank = _tank(PLAIN, fault)
    tank.advance_to(START_US + 6 * MINUTE_US)
    assert (tank.temperature - 25.5) * 10 == pytest.approx(rate, abs=0.006)


def test_heater_duty_holds_the_tank() -> None:
    # Scenario table, 400 L: mean heater power 142.6 W, duty 36 % (computed values).
    tank = _tank()
    tank.advance_to(START_US + DAY_US)
    watts = tank.record(START_US + 4 * DAY_US, MINUTE_US).columns["heater_power"]
    assert watts.mean() == pytest.approx(142.6, rel=0.02)


def test_thermostat_keeps_the_water_within_its_hysteresis() -> None:
    tank = _tank(TankSettings())
    tank.advance_to(START_US + DAY_US // 2)
    temperature = tank.record(START_US + 7 * DAY_US, MINUTE_US).columns["temperature"]
    # Half the hysteresis to each side, one step of 10 s and four deviations of the probe's noise.
    assert np.all(np.abs(temperature - 25.5) <= 0.15 + 0.002 + 4.5 * 0.015)


def test_top_off_replaces_what_evaporates_and_holds_the_salinity() -> None:
    tank = _tank()
    tank.advance_to(START_US + 3 * DAY_US)
    assert tank.water.practical_salinity == pytest.approx(35.0, abs=0.06)
    # 1 % of 400 L a day, give or take one run of the pump.
    assert 40.0 - tank.water.reservoir_litres == pytest.approx(12.0, abs=0.6)


def test_salinity_rises_and_level_falls_when_top_off_fails() -> None:
    tank = _tank(PLAIN, TopOffFailed(START_US))
    tank.advance_to(START_US + DAY_US)
    assert tank.water.practical_salinity == pytest.approx(35.3444, abs=0.002)  # 400 L loses 4 L
    assert 22.0 - tank.water.level_cm == pytest.approx(24 * 0.093, abs=0.02)  # 0.93 mm/h
    assert tank.water.reservoir_litres == 40.0


def test_salinity_falls_when_top_off_sticks_on_until_the_reservoir_is_empty() -> None:
    tank = _tank(replace(PLAIN, evaporation_per_day=0.0, reservoir_litres=20.0), TopOffStuckOn(START_US))
    tank.advance_to(START_US + 3 * HOUR_US)
    assert tank.water.reservoir_litres == 0.0
    assert tank.water.practical_salinity == pytest.approx(33.3742, abs=0.001)  # 20 L into 400 L


def test_a_leak_lowers_the_level_by_what_runs_out() -> None:
    settings = replace(PLAIN, evaporation_per_day=0.0)
    tank = _tank(settings, TopOffFailed(START_US), Leak(START_US, litres_per_hour=1.0))
    tank.advance_to(START_US + HOUR_US)
    # 1 L of seawater over 0.18 m2, counted as the fresh water that would weigh as much.
    assert 22.0 - tank.water.level_cm == pytest.approx(0.556 * 1.02334 / 0.997, abs=0.002)
    assert tank.water.practical_salinity == pytest.approx(35.0)


def test_ph_is_lowest_at_lights_on_and_highest_late_in_the_light() -> None:
    """The day cycle's swing of 0.2 to 0.5 is common practice, no source."""
    tank = _tank(TankSettings())
    ph = tank.record(START_US + 3 * DAY_US, 5 * MINUTE_US).columns["ph"].reshape(3, 24, 12).mean(axis=(0, 2))
    assert np.argmin(ph) in {8, 9}
    assert np.argmax(ph) in {19, 20}
    assert 0.2 <= ph.max() - ph.min() <= 0.5


def test_ph_starts_settled() -> None:
    tank = _tank(TankSettings())
    first = tank.ph
    tank.advance_to(START_US + DAY_US)
    assert tank.ph == pytest.approx(first, abs=1e-4)


def test_lights_follow_the_tank_s_own_clock() -> None:
    five_hours_east = _tank(replace(TankSettings(), time_zone="Etc/GMT-5"))
    ph = five_hours_east.record(START_US + DAY_US, HOUR_US).columns["ph"]
    assert np.argmin(ph) in {3, 4}


def test_same_seed_gives_the_same_readings() -> None:
    first = _tank(TankSettings(), seed=3).record(START_US + DAY_US, MINUTE_US)
    second = _tank(TankSettings(), seed=3).record(START_US + DAY_US, MINUTE_US)
    assert first.times_us.tolist() == second.times_us.tolist()
    for name, column in first.columns.items():
        assert column.tolist() == second.columns[name].tolist()


def test_another_seed_gives_other_readings() -> None:
    first = _tank(TankSettings(), seed=3).record(START_US + DAY_US, MINUTE_US)
    second = _tank(TankSettings(), seed=4).record(START_US + DAY_US, MINUTE_US)
    assert first.columns["temperature"].tolist() != second.columns["temperature"].tolist()


def test_being_asked_more_often_changes_nothing() -> None:
    often, seldom = _tank(TankSettings()), _tank(TankSettings())
    for minute in range(1, 301):
        often.advance_to(START_US + minute * MINUTE_US)
    seldom.advance_to(START_US + 300 * MINUTE_US)
    assert often.truth() == seldom.truth()


def test_a_probe_fewer_changes_no_other() -> None:
    settings = TankSettings()
    fewer = replace(settings, probes={name: settings.probes[name] for name in ("temperature",)})
    alone = _tank(fewer).record(START_US + HOUR_US, MINUTE_US).columns["temperature"]
    among = _tank(settings).record(START_US + HOUR_US, MINUTE_US).columns["temperature"]
    assert alone.tolist() == among.tolist()


def test_probe_noise_and_resolution_are_those_of_the_probe() -> None:
    settings = replace(PLAIN, heater_watts=0.0, equipment_watts=0.0, evaporation_per_day=0.0, setpoint=21.0)
    shown = _tank(settings).record(START_US + 2 * DAY_US, MINUTE_US).columns["temperature"]
    # The water is at room temperature and stays there: what is left is the probe.
    assert np.allclose(shown * 100, np.round(shown * 100))
    # Rounding to 0.01 adds a variance of 0.01**2 / 12 to that of the noise.
    assert shown.std() == pytest.approx((0.015**2 + 0.01**2 / 12) ** 0.5, rel=0.06)


@pytest.mark.parametrize(("minute", "is_stuck"), [(9, False), (10, True), (19, True), (20, False)])
def test_a_stuck_probe_repeats_its_last_value_from_the_first_to_before_the_last_instant(
    minute: int, is_stuck: bool
) -> None:
    fault = ProbeStuck("ph", START_US + 10 * MINUTE_US, START_US + 20 * MINUTE_US)
    settings = replace(TankSettings(), ph_hours=0.5)
    faulty = _tank(settings, fault).record(START_US + HOUR_US, MINUTE_US).columns["ph"]
    sound = _tank(settings).record(START_US + HOUR_US, MINUTE_US).columns["ph"]
    if is_stuck:
        assert faulty[minute] == sound[9]
    else:
        assert faulty[minute] == sound[minute]


@pytest.mark.parametrize(("minute", "is_silent"), [(9, False), (10, True), (19, True), (20, False)])
def test_a_silent_probe_shows_nothing_and_no_other_is_touched(minute: int, is_silent: bool) -> None:
    fault = ProbeSilent("ph", START_US + 10 * MINUTE_US, START_US + 20 * MINUTE_US)
    faulty = _tank(TankSettings(), fault).record(START_US + HOUR_US, MINUTE_US)
    sound = _tank(TankSettings()).record(START_US + HOUR_US, MINUTE_US)
    assert np.isnan(faulty.columns["ph"][minute]) == is_silent
    assert faulty.columns["temperature"].tolist() == sound.columns["temperature"].tolist()


def test_reservoir_is_refilled_before_it_runs_dry() -> None:
    reservoir = _tank(TankSettings()).record(START_US + 14 * DAY_US, 5 * MINUTE_US).columns["reservoir"]
    assert reservoir.min() > 10.0
    assert np.sum(np.diff(reservoir) > 5.0) == 2
