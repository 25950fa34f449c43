"""Does a stretch that people rejected show anything by itself? Told from the raw values and labels alone.

Nothing of the engine is used, so that what a probe fault could have seen is not decided by what it saw. A
stretch is held against the week before it, of which only rows count that nobody marked. The rule, in order:

impossible
    an hour of values that the sensor cannot give;
unknown
    less than a day of unmarked rows in that week: nothing to hold it against;
away
    an hour of its first day beyond the range of that week by more than a quarter of that range;
empty
    of a level: an hour at less than a twentieth of that week's highest;
still
    within two last digits for an hour or more and twice as long as ever in that week, or on one value for two
    hours or more and twice as long as ever;
rough
    three hours whose median jump (a row from the mean of its neighbours) is twice that of any in that week;
step
    a step between neighbours, the way in included, of twice the greatest in that week;
nothing
    none of these. Deployments that a later check rejected as a whole, values that were rejected beside
    others, and most fouling look so.
"""

from __future__ import annotations

from collections import deque
from types import MappingProxyType

import numpy as np

HOUR_ROWS = 4
DAY_ROWS = 24 * HOUR_ROWS
WEEK_ROWS = 7 * DAY_ROWS
ROUGH_ROWS = 3 * HOUR_ROWS
TWICE = 2.0
# What the sensors can give, in the units of the files; the same as in sondes.toml.
SPANS = MappingProxyType(
    {
        "temp": (-5.0, 45.0),
        "sal": (-1.0, 45.0),
        "ph": (2.0, 12.0),
        "depth": (-1.0, 20.0),
        "stage": (-100.0, 2000.0),
        "cond": (0.0, 100_000.0),
    }
)
LEVELS = ("depth", "stage")
# Signs by which a probe fault could be told in principle.
SHOWING = ("impossible", "away", "empty", "still", "rough", "step")


def sign_of(series: str, values: np.ndarray, passed: np.ndarray, first: int, last: int) -> str:
    """What a stretch of rows shows; see the module.

    Parameters
    ----------
    series
        Name of the column.
    values, passed
        Shape (n,): the column (NaN where there was none), and whether nobody marked the row.
    first, last
        Its first and last row.
    """
    low, high = SPANS[series]
    own = values[first : last + 1]
    own = own[np.isfinite(own)]
    if np.count_nonzero((own < low) | (own > high)) >= HOUR_ROWS:
        return "impossible"
    start = max(0, first - WEEK_ROWS)
    week = values[start:first][passed[start:first]]
    week = week[(week >= low) & (week <= high)]
    if len(week) < DAY_ROWS:
        return "unknown"
    own = own[(own >= low) & (own <= high)]
    lowest, highest = float(week.min()), float(week.max())
    margin = (highest - lowest) / 4.0
    day = own[:DAY_ROWS]
    if np.count_nonzero((day < lowest - margin) | (day > highest + margin)) >= HOUR_ROWS:
        return "away"
    if series in LEVELS and np.count_nonzero(own < highest / 20.0) >= HOUR_ROWS:
        return "empty"
    digit = last_digit(week)
    for tolerance, least in ((2.5 * digit, HOUR_ROWS), (0.5 * digit, 2 * HOUR_ROWS)):
        if longest_within(own, tolerance) >= max(least, TWICE * longest_within(week, tolerance)):
            return "still"
    if roughest(own) >= TWICE * max(roughest(week), digit / 2.0):
        return "rough"
    entered = np.concatenate((week[-1:], own))
    if np.abs(np.diff(entered)).max(initial=0.0) >= TWICE * np.abs(np.diff(week)).max():
        return "step"
    return "nothing"


def last_digit(values: np.ndarray) -> float:
    """The smallest difference between two values; 0 where all are one."""
    steps = np.diff(np.unique(np.round(values, 4)))
    return float(steps.min()) if len(steps) else 0.0


def longest_within(values: np.ndarray, tolerance: float) -> int:
    """The most rows on end whose span is no more than `tolerance`."""
    lows: deque[int] = deque()
    highs: deque[int] = deque()
    start = longest = 0
    for row, value in enumerate(values):
        while lows and values[lows[-1]] >= value:
            lows.pop()
        while highs and values[highs[-1]] <= value:
            highs.pop()
        lows.append(row)
        highs.append(row)
        while values[highs[0]] - values[lows[0]] > tolerance:
            start += 1
            for ends in (lows, highs):
                if ends[0] < start:
                    ends.popleft()
        longest = max(longest, row - start + 1)
    return longest


def roughest(values: np.ndarray) -> float:
    """Greatest median jump of three hours; 0 where there are fewer."""
    if len(values) < ROUGH_ROWS + 2:
        return 0.0
    jumps = np.abs(values[1:-1] - (values[:-2] + values[2:]) / 2.0)
    windows = np.lib.stride_tricks.sliding_window_view(jumps, ROUGH_ROWS)
    return float(np.median(windows, axis=1).max())
