"""Probes: noise, then the nearest step of what the probe resolves."""

from __future__ import annotations

import pytest

from collector.simulation.probes import PROBES, Probe


@pytest.mark.parametrize(
    ("truth", "deviate", "expected"),
    [
        (25.0, 0.0, 25.0),
        (25.03, 0.0, 25.0),
        (25.04, 0.0, 25.0625),
        (25.0, 1.0, 25.0625),
        (25.0, -1.0, 24.9375),
        (-1.0, 0.0, -1.0),
    ],
)
def test_a_digital_thermometer_of_12_bits_shows_steps_of_a_sixteenth(
    truth: float, deviate: float, expected: float
) -> None:
    assert Probe(noise=0.06, resolution=0.0625, decimals=4).read(truth, deviate) == expected


@pytest.mark.parametrize("name", PROBES)
def test_what_is_shown_is_written_with_its_decimals_and_no_more(name: str) -> None:
    probe = PROBES[name]
    for step in range(200):
        shown = probe.read(step * 0.137, 0.5)
        assert shown == float(f"{shown:.{probe.decimals}f}")
