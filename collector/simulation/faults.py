"""What can go wrong in a simulated tank, and from when to when.

Each fault is a plain value; the tank asks at every step which are active. Instants are microseconds
since 1970 UTC; `to_us` is the instant of the repair, at which the fault no longer acts.
"""

from __future__ import annotations

from dataclasses import dataclass

# Beyond every recording: a fault that nobody repairs.
NEVER_US = 2**62


@dataclass(frozen=True, slots=True)
class HeaterFailedOff:
    """The heater gives no heat, whatever the thermostat wants."""

    from_us: int
    to_us: int = NEVER_US


@dataclass(frozen=True, slots=True)
class HeaterStuckOn:
    """The heater gives full heat, whatever the thermostat wants."""

    from_us: int
    to_us: int = NEVER_US


@dataclass(frozen=True, slots=True)
class TopOffFailed:
    """The top-off pump gives no water."""

    from_us: int
    to_us: int = NEVER_US


@dataclass(frozen=True, slots=True)
class TopOffStuckOn:
    """The top-off pump runs on until its reservoir is empty."""

    from_us: int
    to_us: int = NEVER_US


@dataclass(frozen=True, slots=True)
class Leak:
    """Tank water leaves at a constant rate."""

    from_us: int
    to_us: int = NEVER_US
    litres_per_hour: float = 1.0


@dataclass(frozen=True, slots=True)
class ProbeStuck:
    """A series shows its last value and nothing else."""

    series: str
    from_us: int
    to_us: int = NEVER_US


@dataclass(frozen=True, slots=True)
class ProbeSilent:
    """A series shows nothing."""

    series: str
    from_us: int
    to_us: int = NEVER_US


EquipmentFault = HeaterFailedOff | HeaterStuckOn | TopOffFailed | TopOffStuckOn | Leak
ProbeFault = ProbeStuck | ProbeSilent
SimulatedFault = EquipmentFault | ProbeFault


def is_active(fault: SimulatedFault, time_us: int) -> bool:
    """Whether the fault acts at an instant."""
    return fault.from_us <= time_us < fault.to_us
