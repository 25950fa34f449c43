"""Readings on an even grid, for judges that want one: medians of a minute or of five."""

from __future__ import annotations

import numpy as np

from tests.bench.trials.worlds import MINUTE_US


def medians(
    times_us: np.ndarray, values: np.ndarray, from_us: int, to_us: int, minutes: int, hold: int = 0
) -> np.ndarray:
    """Median of the readings of each cell; a cell without one shows the last for `hold` cells, then NaN."""
    step_us = minutes * MINUTE_US
    count = int((to_us - from_us) // step_us)
    first, last = np.searchsorted(times_us, (from_us, from_us + count * step_us))
    where = (times_us[first:last] - from_us) // step_us
    found = np.full(count, np.nan)
    if len(where):
        inside = values[first:last]
        order = np.lexsort((inside, where))
        inside, where = inside[order], where[order]
        starts = np.flatnonzero(np.concatenate(([True], where[1:] != where[:-1])))
        sizes = np.diff(np.concatenate((starts, [len(where)])))
        found[where[starts]] = (inside[starts + (sizes - 1) // 2] + inside[starts + sizes // 2]) / 2
    for _ in range(hold):
        empty = np.flatnonzero(~np.isfinite(found[1:])) + 1
        if not len(empty):
            break
        found[empty] = found[empty - 1]
    return found


def sustained(values: np.ndarray, cells: int) -> np.ndarray:
    """Smallest value of the last `cells` cells: what has been exceeded for that long; NaN counts as least."""
    filled = np.where(np.isfinite(values), values, -np.inf)
    if cells <= 1:
        return filled
    padded = np.concatenate((np.full(cells - 1, -np.inf), filled))
    return np.lib.stride_tricks.sliding_window_view(padded, cells).min(axis=1)


def onsets(scores: np.ndarray, level: float, apart: int) -> np.ndarray:
    """Cells at which scores reach a level anew, having been below it for `apart` cells before.

    What is there all the time rings once, and never again: nobody hears a bell that does not stop.
    """
    on = np.flatnonzero(scores >= level)
    if not len(on):
        return on
    return on[np.concatenate(([True], np.diff(on) > apart))]
