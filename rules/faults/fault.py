"""The one shape that every fault has: what it needs, its parameters, and what it finds in a look.

Theory of operation
-------------------
At each step (five minutes) the engine shows every fault the tank, or one series of it, and the fault
says how sure it is, from 0 to 1. At `ON` and above for its on-delay the alarm is raised, below `OFF`
for its off-delay it returns to normal, and in between, or where the fault cannot be known, nothing
changes. A fault keeps nothing between steps: what it says is a function of the look.

A finding names the symptoms that it explains. Of findings that explain a common symptom only the surest
speaks; the others go into its evidence as rivals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from rules.events import Priority, Reason
from rules.look import Look, TankLook
from rules.projection import Projection

ON = 0.5
OFF = 0.25


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number that a keeper may set.

    `kind` is "difference" (unit of `quantity`), "rate" (that unit per hour), "duration" (microseconds)
    or "number" (no unit); `default` is in those units and `meaning` says what it does and why it is
    what it is.
    """

    name: str
    kind: str
    default: float
    meaning: str
    quantity: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """What a fault finds in a look.

    Parameters
    ----------
    confidence
        From 0 to 1.
    reasons
        What was seen, the weightiest first.
    explains
        Symptoms, such as "temperature_low": a role or the name of a series, and what is odd about it.
    concerns
        Names of the series beside the subject that the alarm is about: alarms that share one belong
        together.
    projection
        When a danger line is reached, None for a straight line through the last hour.
    priority
        Where it differs from that of the fault.
    """

    confidence: float
    reasons: tuple[Reason, ...] = ()
    explains: frozenset[str] = frozenset()
    concerns: tuple[str, ...] = ()
    projection: Projection | None = None
    priority: Priority | None = None


# The answer of a fault that sees nothing of its own: shared, for it is given at almost every step.
NORMAL = Finding(0.0)


def ramp(value: float, nothing: float, certain: float) -> float:
    """How much a value speaks for a fault: 0 at `nothing`, 1 at `certain` (on either side), straight between.

    NaN speaks for nothing.
    """
    share = (value - nothing) / (certain - nothing)
    return min(1.0, share) if share > 0.0 else 0.0


class Fault(Protocol):
    """A fault of a piece of equipment, of the water's ways, or of a probe.

    A fault of the tank has `roles`: its alarm is filed under the first of them that the tank has, and it
    is looked for only if there is one. A fault of a probe has `quantities` instead: it is looked for in
    every series of these, and `subject` is that series. `equipment`: it is looked for only where the tank
    has one of these, or always where it is empty.

    Parameters named `on_delay` and `off_delay` are taken by the engine, all others by `judge`.
    """

    @property
    def code(self) -> str:
        """Its cause code in `rules.causes`."""
        ...

    @property
    def roles(self) -> tuple[str, ...]:
        """Roles under which it is filed; empty for a fault of probes."""
        ...

    @property
    def quantities(self) -> tuple[str, ...]:
        """Quantities of the series that can have it; empty for a fault of the tank."""
        ...

    @property
    def equipment(self) -> frozenset[str]:
        """Equipment that can have it."""
        ...

    @property
    def hears_silence(self) -> bool:
        """Whether it is judged where its subject has no fresh value, too."""
        ...

    @property
    def priority(self) -> Priority:
        """How soon a person must act."""
        ...

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """What a keeper may set."""
        ...

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """Say how sure it is; None where it cannot be known now. `setting` holds every parameter by name."""
        ...
