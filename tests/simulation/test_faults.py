"""Faults act from their first instant up to, and not at, that of their repair."""

from __future__ import annotations

import pytest

from collector.simulation import HeaterFailedOff, Leak
from collector.simulation.faults import is_active


@pytest.mark.parametrize(
    ("time_us", "expected"), [(9, False), (10, True), (11, True), (19, True), (20, False), (21, False)]
)
def test_a_fault_acts_between_its_instants(time_us: int, expected: bool) -> None:
    assert is_active(HeaterFailedOff(10, 20), time_us) is expected


@pytest.mark.parametrize(("time_us", "expected"), [(9, False), (10, True), (2**60, True)])
def test_a_fault_that_nobody_repairs_acts_for_ever(time_us: int, expected: bool) -> None:
    assert is_active(Leak(10), time_us) is expected
