"""What a chart shows and where its ticks stand: for charts of the pages and pictures on a phone alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from math import ceil, floor, log10

import numpy as np

from rules import IntArray

# Above and below the values, so that a line does not run along the edge.
_MARGIN = 0.06
# Flat values are not blown up: a chart spans at least this many units of the last digit shown.
_LEAST_SPAN = 6
# A limit is shown if it lies within this many spans of the values; else it would flatten them.
_NEAR_SPANS = 1.5
_MINUTE = 60
_HOUR = 60 * _MINUTE
_DAY = 24 * _HOUR
_STEPS = (
    *(step * _MINUTE for step in (1, 2, 5, 10, 15, 30)),
    *(step * _HOUR for step in (1, 2, 3, 6, 12)),
    *(step * _DAY for step in (1, 2, 7, 14)),
)


def value_range(low: float, high: float, limits: Sequence[float], resolution: float) -> tuple[float, float]:
    """Return the range that shows values from `low` to `high`, and the limits near them.

    `resolution` is one unit of the last digit that is shown.
    """
    span = max(high - low, _LEAST_SPAN * resolution)
    # Values too large for their resolution to count still need a range of their own.
    span = max(span, abs(low) * 1e-9, abs(high) * 1e-9)
    middle = low / 2 + high / 2
    low, high = min(low, middle - span / 2), max(high, middle + span / 2)
    near = [value for value in limits if low - _NEAR_SPANS * span <= value <= high + _NEAR_SPANS * span]
    low, high = min([low, *near]), max([high, *near])
    margin = _MARGIN * (high - low)
    return low - margin, high + margin


def value_ticks(low: float, high: float, resolution: float) -> list[float]:
    """Round values in a range, a handful of them."""
    step = _round_step((high - low) / 4, resolution)
    first, last = ceil(low / step), floor(high / step)
    # Rounding of huge values may leave any number of steps: a handful is what an eye can use.
    return [number * step for number in range(first, min(last, first + 8) + 1)]


def _round_step(least: float, resolution: float) -> float:
    """The next of 1, 2 and 5 times a power of ten, and no less than what can be shown."""
    power = 10.0 ** floor(log10(least))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= least)
    return max(step, resolution)


def wall_step_s(seconds: float, most: int) -> int | None:
    """A round step on the wall clock that makes `most` parts at most of a time; None where weeks do not."""
    return next((step for step in _STEPS if seconds / step <= most), None)


def wall_times(start: datetime, end: datetime, step_s: int) -> Iterator[datetime]:
    """Wall times from the midnight before `start`, a step apart on the clock on the wall."""
    at = start.replace(hour=0, minute=0, second=0)
    while at <= end:
        yield at
        at += timedelta(seconds=step_s)


def is_of_days(step_s: int) -> bool:
    """Whether a step is one of whole days."""
    return step_s >= _DAY


def runs(times_us: IntArray) -> list[slice]:
    """Stretches without a gap: a gap is three times as long as what lies between most points."""
    if len(times_us) == 0:
        return []
    steps = np.diff(times_us)
    breaks = np.flatnonzero(steps > 3 * np.median(steps)) + 1 if len(steps) else np.empty(0, np.int64)
    edges = [0, *breaks.tolist(), len(times_us)]
    return [slice(first, last) for first, last in pairwise(edges)]
