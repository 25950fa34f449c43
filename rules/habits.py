"""The habits of a series over its last day: noise, resolution, interval, range. How fine does it speak?

They are taken once an hour, so that a step costs little; a fault looks at them to tell what is more
than noise, whatever probe a keeper has.
"""

from __future__ import annotations

from array import array
from typing import NamedTuple

import numpy as np

from rules.blocks import FloatArray
from rules.known import in_order
from rules.trace import DAY_CELLS, HOUR_CELLS, NAN, Trace

# Phi^-1(0.75) * sqrt(2): turns the median step of white noise into its standard deviation.
_STEP_TO_SIGMA = 1 / (0.6744897501960817 * 2**0.5)
# The day of the range ended three hours ago, so that a fault does not make itself usual.
_RANGE_ENDED_CELLS = 3 * HOUR_CELLS
_FEWEST_OF_DAY = 20 / 24
_FEWEST = 12


class Habits(NamedTuple):
    """What the last day shows; NaN where there were too few readings.

    Parameters
    ----------
    noise
        Standard deviation of single readings about their neighbours.
    scatter
        Standard deviation of cell medians about their neighbours.
    resolution
        Smallest step between readings, 0 where none was seen.
    interval_cells
        Cells from one that holds readings to the next.
    day_low, day_high
        Range of the cells of the day that ended three hours ago.
    """

    noise: float
    scatter: float
    resolution: float
    interval_cells: float
    day_low: float
    day_high: float


UNKNOWN = Habits(NAN, NAN, 0.0, NAN, NAN, NAN)


def _median(ordered: FloatArray) -> float:
    size = len(ordered)
    return float((ordered[(size - 1) // 2] + ordered[size // 2]) / 2)


def _known(column: array[float]) -> FloatArray:
    cells = np.asarray(column)
    return np.asarray(cells[cells == cells])


def habits_of(trace: Trace) -> Habits:
    """Take the habits of a trace at its newest step."""
    medians = trace.medians
    day = _known(medians[-DAY_CELLS:])
    if len(day) < _FEWEST:
        return UNKNOWN
    noises = in_order(trace.noises[-DAY_CELLS:])
    smallest = in_order(trace.smallest_steps[-DAY_CELLS:])
    between = np.abs(day[1:] - day[:-1])
    between.sort()
    if not len(smallest):
        # Where a cell holds but one reading, the steps between cells are those between readings.
        smallest = between[between > 0.0]
    cells = min(len(medians), DAY_CELLS)
    interval = cells / len(day)
    low = high = NAN
    past = _known(medians[-DAY_CELLS - _RANGE_ENDED_CELLS : -_RANGE_ENDED_CELLS])
    if len(past) * interval >= _FEWEST_OF_DAY * DAY_CELLS:
        low, high = float(past.min()), float(past.max())
    return Habits(
        noise=_median(noises) if len(noises) else NAN,
        scatter=_median(between) * _STEP_TO_SIGMA,
        resolution=_median(smallest) if len(smallest) else 0.0,
        interval_cells=interval,
        day_low=low,
        day_high=high,
    )
