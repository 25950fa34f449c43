"""Readings laid out by the clock on the wall: a row per local day, a column per quarter of an hour.

On the day on which the clock goes forward four columns stay empty; on the day on which it goes back four
hold the mean of two quarters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rules.blocks import FloatArray, IntArray
from rules.local_time import DAY_US, QUARTER_US, wall_clock_us, weekday_of

SLOTS = DAY_US // QUARTER_US
# Probes that report every half hour or hour leave quarters empty, over which a line is drawn.
_BRIDGED = 5


@dataclass(frozen=True, slots=True)
class DayGrid:
    """Values by local day and quarter of an hour.

    Parameters
    ----------
    first_day
        Number of the first row's day since 1970-01-01, of the clock on the wall.
    values
        Shape (days, 96): means of what was read; NaN where nothing was.
    bridged
        The same with short gaps filled.
    """

    first_day: int
    values: FloatArray
    bridged: FloatArray

    @property
    def weekdays(self) -> IntArray:
        """Weekday of each row, 0 for Monday, shape (days,)."""
        return np.array([weekday_of(self.first_day + row) for row in range(len(self.values))], np.int64)

    def without_last(self, days: int) -> DayGrid:
        """The grid as it was so many days earlier."""
        rows = max(0, len(self.values) - days)
        return DayGrid(self.first_day, self.values[:rows], self.bridged[:rows])

    @property
    def days_known(self) -> int:
        """Number of days of which more than half is known."""
        return int((np.isfinite(self.bridged).mean(axis=1) > 0.5).sum())


def day_grid(
    times_us: IntArray, values: FloatArray, time_zone: str, excluded: Sequence[tuple[int, int]] = ()
) -> DayGrid:
    """Lay out readings, leaving out every quarter of an hour that an excluded stretch touches.

    Parameters
    ----------
    times_us, values
        Shape (n,), in order of time; NaN is left out.
    time_zone
        IANA name.
    excluded
        Begin and end, in microseconds since 1970 UTC, of stretches that say nothing of what is usual.
    """
    kept = np.isfinite(values)
    starts_us = times_us - times_us % QUARTER_US
    for from_us, to_us in excluded:
        kept &= (starts_us + QUARTER_US <= from_us) | (starts_us >= to_us)
    wall_us = wall_clock_us(starts_us[kept], time_zone)
    if not len(wall_us):
        return DayGrid(0, np.empty((0, SLOTS)), np.empty((0, SLOTS)))
    first_day = int(wall_us.min() // DAY_US)
    place = (wall_us - first_day * DAY_US) // QUARTER_US
    size = (int(place.max()) // SLOTS + 1) * SLOTS
    counts = np.bincount(place, minlength=size)
    totals = np.bincount(place, values[kept], size)
    means = np.full(size, np.nan)
    means[counts > 0] = totals[counts > 0] / counts[counts > 0]
    shape = (-1, SLOTS)
    return DayGrid(first_day, means.reshape(shape), _bridge(means).reshape(shape))


def _bridge(means: FloatArray) -> FloatArray:
    """Fill gaps of up to an hour between two known quarters along a line."""
    known = np.flatnonzero(np.isfinite(means))
    around = np.arange(len(means))
    after = np.searchsorted(known, around)
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, len(known) - 1)
    is_short = known[after] - known[before] <= _BRIDGED
    is_within = (around >= known[0]) & (around <= known[-1])
    filled = np.interp(around, known, means[known])
    return np.where(np.isfinite(means) | (is_short & is_within), filled, np.nan)
