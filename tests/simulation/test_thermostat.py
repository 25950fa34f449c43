"""The heater's switch, at the edges of its hysteresis."""

from __future__ import annotations

import pytest

from collector.simulation.thermostat import Thermostat


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
