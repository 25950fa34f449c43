"""Steps are found where a level shifts at once, and nowhere else."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.change.step import find_step

NOISE = 0.02


def quiet(count: int, seed: int = 1) -> list[float]:
    chance = random.Random(seed)
    return [25.0 + chance.gauss(0.0, NOISE) for _ in range(count)]


def test_a_water_change_is_a_step_of_its_size_at_its_place():
    values = quiet(36)
    values[20:] = [value - 0.6 for value in values[20:]]
    step = find_step(values, NOISE)
    assert step is not None
    assert step.size == pytest.approx(-0.6, abs=3 * NOISE)
    assert abs(step.place - 20) <= 1


def test_a_step_that_takes_one_cell_is_one_step():
    values = quiet(36)
    values[20] -= 0.3
    values[21:] = [value - 0.6 for value in values[21:]]
    step = find_step(values, NOISE)
    assert step is not None
    assert step.size == pytest.approx(-0.6, abs=3 * NOISE)


@pytest.mark.parametrize("slope", [0.01, 0.05, 0.2, 1.0])
def test_a_ramp_is_no_step_however_steep(slope):
    """Heat lost, evaporation and drift move on; a step stays where it is."""
    assert find_step([value + slope * place for place, value in enumerate(quiet(36))], NOISE) is None


@pytest.mark.parametrize("seed", range(20))
def test_noise_is_no_step(seed):
    assert find_step(quiet(72, seed), NOISE) is None


@pytest.mark.parametrize(("noises", "is_found"), [(4.5, False), (5.5, True)], ids=["under", "over"])
def test_a_step_must_be_five_noises_large(noises, is_found):
    values = [25.0] * 18 + [25.0 + noises * NOISE] * 18
    assert (find_step(values, NOISE) is not None) is is_found


def test_a_single_odd_value_is_no_step():
    values = quiet(36)
    values[18] += 5.0
    assert find_step(values, NOISE) is None


def test_a_hole_beside_a_step_does_not_hide_it():
    values = quiet(36)
    values[20:] = [value + 1.0 for value in values[20:]]
    values[18] = math.nan
    step = find_step(values, NOISE)
    assert step is not None
    assert step.size == pytest.approx(1.0, abs=3 * NOISE)


@given(st.lists(st.floats(-10, 10) | st.just(math.nan), max_size=7))
def test_few_values_are_no_step(values):
    assert find_step(values, 0.0) is None or len(values) >= 7


@given(st.floats(-5, 5), st.floats(0.5, 5))
def test_moving_all_values_moves_no_step(shift, size):
    values = [0.0] * 10 + [size] * 10
    moved = find_step([value + shift for value in values], NOISE)
    assert moved is not None
    assert moved.size == pytest.approx(size, abs=1e-9)
    assert moved.place == find_step(values, NOISE).place
