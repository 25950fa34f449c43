"""What a probe makes of the truth: noise, and a last digit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Probe:
    """Noise (standard deviation) and resolution of a probe, in the unit of its series.

    Common practice, no source: what boards of hobby probes show on a quiet bench.
    """

    noise: float
    resolution: float
    decimals: int

    def read(self, truth: float, deviate: float) -> float:
        """What is shown, given a standard normal deviate."""
        steps = round((truth + self.noise * deviate) / self.resolution)
        return round(steps * self.resolution, self.decimals)


# A digital thermometer of 12 bits would step by 0.0625 degC; this one is a thermistor board's.
PROBES = {
    "temperature": Probe(0.015, 0.01, 2),
    "ph": Probe(0.004, 0.01, 2),
    "practical_salinity": Probe(0.015, 0.01, 2),
    "reservoir": Probe(0.04, 0.1, 1),
    "heater_power": Probe(0.0, 1.0, 0),
    "room_temperature": Probe(0.03, 0.1, 1),
    "sump_level": Probe(0.02, 0.05, 2),
    "top_off": Probe(0.0, 1.0, 0),
}
