"""The one shape that every fault has: what it needs, its parameters, and its symptom in features."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from rules.events import Priority
from rules.features import Features

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number that a keeper may set.

    `kind` is "difference" (unit of the fault's quantity), "rate" (that unit per hour) or "duration"
    (microseconds); `default` is in those units and `meaning` says why it is what it is.
    """

    name: str
    kind: str
    default: float
    meaning: str


@dataclass(frozen=True, slots=True)
class Symptom:
    """For each row of features: does it show the fault, does it show its end; neither where not known.

    `reasons` are short codes of what was seen, told with the alarm.
    """

    is_on: BoolArray
    is_off: BoolArray
    is_known: BoolArray
    reasons: tuple[str, ...]


class Fault(Protocol):
    """A fault of a piece of equipment, seen in the features of one series.

    `code` is its cause in `rules.causes`. It is looked for where the tank has `equipment`, in the
    series of `quantity` that speaks for the tank's water. Parameters named `on_delay` and `off_delay`
    are taken by the engine, all others by `symptom`.
    """

    @property
    def code(self) -> str:
        """Its cause code."""
        ...

    @property
    def equipment(self) -> str:
        """The equipment that can have it."""
        ...

    @property
    def quantity(self) -> str:
        """The quantity in which it shows."""
        ...

    @property
    def priority(self) -> Priority:
        """How soon a person must act."""
        ...

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """What a keeper may set."""
        ...

    def symptom(self, features: Features, setting: Mapping[str, float]) -> Symptom:
        """Judge rows of features; `setting` holds every parameter by name."""
        ...
