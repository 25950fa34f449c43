"""The computed tank against closed solutions of its balances; the probes against what they are told."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest

from rules import physics
from tests.bench.trials.cases import CASES
from tests.bench.trials.probes import Tampering, read
from tests.bench.trials.trial import learned, live, play, world_key
from tests.bench.trials.truth import Drivers, lime_ph_per_litre, quiet_drivers, run, settled
from tests.bench.trials.worlds import BASIC, SIZES, World, draw_world, stream


def still(world: World, hours: float) -> Drivers:
    """Nothing moves: a constant room, no lamps, no evaporation, no feeding."""
    drivers = quiet_drivers(world, world.start_us, int(hours * 60), stream(1))
    drivers.room[:] = 18.0
    for column in (drivers.light, drivers.evaporation, drivers.ph_shift, drivers.refill):
        column[:] = 0.0
    drivers.return_on[:] = 1.0
    return drivers


@pytest.fixture(scope="module")
def tank() -> World:
    """400 L with 20 W/K, whose cooling is a worked example: 25.5 degC in a room of 18 degC."""
    world = draw_world(3, volume=400.0, all_series=True, is_limewater=False, every_s=60)
    capacity = physics.heat_capacity(400.0, 35.0, 25.0)
    return replace(world, ua=20.0, capacity=capacity, setpoint=25.5, equipment_watts=0.0, return_watts=0.0)


def test_a_tank_without_heat_cools_as_computed(tank: World) -> None:
    """Values of the equation solved elsewhere: 1 h 25.1773, 4 h 24.2900, 8 h 23.2752 degC."""
    drivers = still(tank, 8.1)
    drivers.heater_gain[:] = 0.0
    shown = run(tank, settled(tank), drivers).columns["temperature"]
    for hours, expected in ((1, 25.1773), (4, 24.2900), (8, 23.2752)):
        assert shown[hours * 60 - 1] == pytest.approx(expected, abs=0.002)


def test_the_thermostat_holds_within_its_hysteresis(tank: World) -> None:
    shown = run(tank, settled(tank), still(tank, 48.0)).columns["temperature"][600:]
    step = tank.heater_watts / tank.capacity * 60.0
    assert shown.min() > tank.setpoint - tank.hysteresis / 2 - step
    assert shown.max() < tank.setpoint + tank.hysteresis / 2 + step


@pytest.mark.parametrize(("litres", "salinity"), [(1.0, 34.9150), (4.0, 34.6623), (8.0, 34.3310)])
def test_fresh_water_on_top_dilutes_by_mass(tank: World, litres: float, salinity: float) -> None:
    """Salt is conserved: published mass form, 400 L of 35 with so many litres of fresh water."""
    drivers = still(tank, 10.0)
    drivers.dribble[:100] = litres / 100
    drivers.pump_gain[:] = 0.0
    truth = run(tank, settled(tank), drivers)
    assert truth.columns["practical_salinity"][-1] == pytest.approx(salinity, abs=2e-4)
    risen = truth.columns["sump_level"][-1] - tank.level_cm
    assert risen == pytest.approx(litres * 0.1 / tank.area_m2, rel=1e-3)


def test_a_leak_takes_salt_with_it_and_leaves_salinity(tank: World) -> None:
    drivers = still(tank, 10.0)
    drivers.leak[:] = 1.0 / 60.0
    drivers.pump_gain[:] = 0.0
    truth = run(tank, settled(tank), drivers)
    assert truth.columns["practical_salinity"][-1] == pytest.approx(35.0, abs=1e-9)
    assert truth.columns["sump_level"][-1] < tank.level_cm - 5.0


# Rise of pH (NBS) of 400 L by limewater on top, 25 degC, closed; computed with PyCO2SYS 1.8.3.
@pytest.mark.parametrize(("litres", "expected"), [(1.0, 8.2737), (2.0, 8.3880), (4.0, 8.5759), (8.0, 8.8715)])
def test_limewater_raises_ph_as_the_table_says(litres: float, expected: float) -> None:
    ph = 8.137
    for _ in range(int(litres * 100)):
        ph += 0.01 * lime_ph_per_litre(ph, 400.0)
    assert ph == pytest.approx(expected, abs=0.03)


def test_a_standing_return_pump_raises_the_sump_by_what_drains_back(tank: World) -> None:
    drivers = still(tank, 2.0)
    drivers.return_on[30:] = 0.0
    level = run(tank, settled(tank), drivers).columns["sump_level"]
    assert level[-1] - level[29] == pytest.approx(tank.drain_litres * 0.1 / tank.area_m2, rel=0.02)


def test_the_same_seed_gives_the_same_trial_and_another_one_another() -> None:
    first, again, other = (play("heater_failed_off", seed) for seed in (5, 5, 25))
    for name in BASIC:
        np.testing.assert_array_equal(first.readings.values[name], again.readings.values[name])
    assert other.at_us != first.at_us


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_fault_changes_nothing_before_it_begins(name: str) -> None:
    faulty, clean = play(name, 8), play(name, 8, is_clean=True)
    for series in faulty.world.series:
        before = int(np.searchsorted(faulty.readings.times[series], faulty.at_us))
        np.testing.assert_array_equal(
            faulty.readings.values[series][:before], clean.readings.values[series][:before], err_msg=series
        )


def test_a_fault_shows_in_some_series() -> None:
    for name in CASES:
        faulty, clean = play(name, 8), play(name, 8, is_clean=True)
        assert any(
            len(faulty.readings.values[series]) != len(clean.readings.values[series])
            or (faulty.readings.values[series] != clean.readings.values[series]).any()
            for series in faulty.world.series
        ), name


def test_probes_show_the_truth_within_noise_wander_and_last_digit() -> None:
    world = draw_world(4, volume=400.0, every_s=60)
    drivers = quiet_drivers(world, world.start_us, 3 * 1440, stream(2))
    truth = run(world, settled(world), drivers)
    readings = read(world, truth, Tampering(), "x")
    for name, least in (("temperature", 0.3), ("ph", 0.1), ("practical_salinity", 0.5), ("sump_level", 0.7)):
        minutes = (readings.times[name] - truth.start_us) // 60_000_000
        away = np.abs(readings.values[name] - truth.columns[name][minutes])
        # Feeding lifts the sump within a minute, so a few readings lie between two rows.
        assert np.quantile(away, 0.995) < least, name


def test_sizes_go_round_and_a_month_has_its_disturbances() -> None:
    assert {learned(world_key(CASES["leak"], seed)).world.volume for seed in range(5)} == set(SIZES)
    lived = live(1)
    names = {one.name for one in lived.found}
    assert {
        "water change",
        "feeding pause",
        "dosing",
        "probe cleaned",
        "calibration",
        "clocks forward",
    } <= names
    assert {one.is_told for one in lived.found if one.name == "water change"} == {True, False}
    assert copy.copy(lived.world) == lived.world
