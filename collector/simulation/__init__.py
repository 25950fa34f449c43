"""A simulated tank for the demo, the recordings and the tests: physics, probes, faults, boards."""

from collector.simulation.faults import (
    HeaterFailedOff,
    HeaterStuckOn,
    HeaterWeak,
    Leak,
    ProbeDrifting,
    ProbeDry,
    ProbeNoisy,
    ProbeSilent,
    ProbeStuck,
    SimulatedFault,
    TopOffFailed,
    TopOffStuckOn,
)
from collector.simulation.tank import Recording, SimulatedTank, TankSettings

__all__ = [
    "HeaterFailedOff",
    "HeaterStuckOn",
    "HeaterWeak",
    "Leak",
    "ProbeDrifting",
    "ProbeDry",
    "ProbeNoisy",
    "ProbeSilent",
    "ProbeStuck",
    "Recording",
    "SimulatedFault",
    "SimulatedTank",
    "TankSettings",
    "TopOffFailed",
    "TopOffStuckOn",
]
