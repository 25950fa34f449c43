"""A survey of many readings of one series at once: what is the most that happens in each stretch of them?

Nearly always nothing happens, and then the most that does settles a stretch as a whole: where the greatest
step is below a limit, each step is. What a survey cannot settle is judged reading by reading, so a survey
changes what it costs, and never what comes out.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from rules.blocks import FloatArray, IntArray
from rules.local_time import QUARTER_US

# In shorter stretches a reading costs less by itself than its share of the survey.
_FEWEST_IN_STRETCH = 8


class Stretch(NamedTuple):
    """Readings [start, end) within a quarter of an hour, for so long what is usual stays the same.

    Parameters
    ----------
    low, high
        Of their values.
    greatest_step
        Of the values, from one reading to the next, and to the first from the one before the stretch.
    longest_us
        Of the times between the same.
    shortest_us
        Likewise.
    """

    start: int
    end: int
    low: float
    high: float
    greatest_step: float
    shortest_us: int
    longest_us: int


class Survey(NamedTuple):
    """Many readings of one series in order of arrival.

    Parameters
    ----------
    stretches
        All but the first reading, for what is before that is not known here.
    low, high
        Of all values; NaN where one is missing.
    shortest_us
        Time between two readings; not above 0 where they do not come in order.
    longest_wait_us
        From a reading to the next, or to the engine's clock at the arrival of that.
    """

    stretches: list[Stretch]
    low: float
    high: float
    shortest_us: int
    longest_wait_us: int

    @property
    def is_whole(self) -> bool:
        """Whether no value is missing."""
        return self.low == self.low


def survey(times_us: IntArray, values: FloatArray, clocks_us: IntArray) -> Survey | None:
    """Look over readings, each of shape (n,); None where there are too few for it to pay."""
    quarters = times_us // QUARTER_US
    starts = np.flatnonzero(quarters[1:] != quarters[:-1]) + 1
    if not starts.size or starts[0] != 1:
        starts = np.concatenate((np.ones(1, starts.dtype), starts))
    if len(times_us) < _FEWEST_IN_STRETCH * len(starts):
        return None
    before = starts - 1
    between_us = times_us[1:] - times_us[:-1]
    # A step between two infinite values is none, and nothing is settled by it.
    with np.errstate(invalid="ignore"):
        steps = np.abs(values[1:] - values[:-1])
    shortest_us = np.minimum.reduceat(between_us, before)
    columns = (
        starts,
        np.concatenate((starts[1:], (len(times_us),))),
        np.minimum.reduceat(values, starts),
        np.maximum.reduceat(values, starts),
        np.maximum.reduceat(steps, before),
        shortest_us,
        np.maximum.reduceat(between_us, before),
    )
    return Survey(
        list(map(Stretch._make, zip(*(column.tolist() for column in columns), strict=True))),
        float(np.minimum.reduce(values)),
        float(np.maximum.reduce(values)),
        int(np.minimum.reduce(shortest_us)),
        int(np.maximum.reduce(np.maximum(clocks_us[1:], times_us[1:]) - times_us[:-1])),
    )
