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
class HeaterWeak:
    """The heater gives a share of its heat: one of two has failed."""

    from_us: int
    to_us: int = NEVER_US
    share: float = 0.5


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


@dataclass(frozen=True, slots=True)
class ProbeDry:
    """A conductivity cell hangs in air: it shows next to nothing."""

    series: str
    from_us: int
    to_us: int = NEVER_US


@dataclass(frozen=True, slots=True)
class ProbeNoisy:
    """A series scatters by so many times its usual noise."""

    series: str
    from_us: int
    to_us: int = NEVER_US
    times: float = 12.0


@dataclass(frozen=True, slots=True)
class ProbeDrifting:
    """A series goes away from the truth by so much a day, in its unit."""

    series: str
    from_us: int
    to_us: int = NEVER_US
    per_day: float = 0.05


EquipmentFault = HeaterFailedOff | HeaterWeak | HeaterStuckOn | TopOffFailed | TopOffStuckOn | Leak
ProbeFault = ProbeStuck | ProbeSilent | ProbeDry | ProbeNoisy | ProbeDrifting
SimulatedFault = EquipmentFault | ProbeFault


def is_active(fault: SimulatedFault, time_us: int) -> bool:
    """Whether the fault acts at an instant."""
    return fault.from_us <= time_us < fault.to_us
