"""Steps: did a level shift at once, where did it, and by how much?

A water change, a calibration or a knocked probe shifts the level within one or two cells and leaves it there;
heat, evaporation and drift move it along. What tells them apart is how still the values lie on both sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

# Values whose median is the level on either side.
_FLANK = 4
# A step takes at most so many values: the one in which it happens is neither old nor new.
_WITHIN = 2
# Noises that a step must exceed, and how much it must exceed what moves on its own sides: over a straight
# line the levels lie five values apart, and each flank moves by three.
_LEAST_NOISES = 5.0
_LEAST_RATIO = 2.5


class Step(NamedTuple):
    """A shift by `size` that was complete at the value at `place`."""

    size: float
    place: int


def find_step(values: Sequence[float], noise: float) -> Step | None:
    """Return the greatest step among evenly spaced values, None where there is none.

    Parameters
    ----------
    values
        Some dozens at most, the newest last; NaN is left out.
    noise
        Standard deviation of neighbouring values; a step must be five times as large.
    """
    found: Step | None = None
    for place in range(_FLANK, len(values) - _FLANK + 1):
        before = _known(values[place - _FLANK : place])
        if len(before) < _FLANK - 1:
            continue
        for width in range(_WITHIN):
            after = _known(values[place + width : place + width + _FLANK])
            if len(after) < _FLANK - 1:
                continue
            size = _median(after) - _median(before)
            least = abs(found.size) if found is not None else _LEAST_NOISES * noise
            if abs(size) <= least or abs(size) < _LEAST_RATIO * max(_moves(before), _moves(after)):
                continue
            found = Step(size, place + width)
    return found


def _known(values: Sequence[float]) -> list[float]:
    return [value for value in values if value == value]


def _median(values: Sequence[float]) -> float:
    ordered = sorted(values)
    size = len(ordered)
    return (ordered[(size - 1) // 2] + ordered[size // 2]) / 2


def _moves(flank: Sequence[float]) -> float:
    """How far a side moves from one end to the other, one odd value aside."""
    half = len(flank) // 2
    return abs(_median(flank[-half:]) - _median(flank[:half])) * 1.5
