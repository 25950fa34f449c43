"""One-minute features of a series: level, robust slopes, the last day's range, the expected band.

Features do not depend on thresholds, so tuning computes them once and tries many. They live on a grid
of whole minutes since 1970; a minute is closed by the series' own first reading behind it, so the
features, too, do not depend on how the stream is cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from rules.baseline import Baseline
from rules.blocks import FloatArray, IntArray
from rules.setup import HOUR_US

MINUTE_US = HOUR_US // 60
LOOK_BACK_MINUTES = 27 * 60 + 5
LOOK_BACK_US = LOOK_BACK_MINUTES * MINUTE_US

_LEVEL_MINUTES = 5
_POINTS = 12
_FEWEST_PAIRS = 6
_FIRST, _SECOND = np.triu_indices(_POINTS, 1)
# Range of "the last day": hourly looks from three to twenty-seven hours back, so that a fault does not
# make itself usual while it develops.
_DAY_OFFSETS = np.arange(3, 28) * 60
_FEWEST_HOURS = 20


@dataclass(frozen=True, slots=True)
class Slope:
    """Robust slope per hour: Theil-Sen median of pairwise slopes, with their 10 % and 90 % quantiles."""

    median: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Features:
    """Rows of features of one series, one per closed minute that holds a reading.

    `times_us` are the ends of the minutes. All arrays have shape (n,); NaN where not known.
    """

    times_us: IntArray
    level: FloatArray
    slope_short: Slope
    slope: Slope
    slope_long: Slope
    day_low: FloatArray
    day_high: FloatArray
    expected_low: FloatArray
    expected_high: FloatArray
    rate: Slope | None

    def __len__(self) -> int:
        return len(self.times_us)


def _sorted_median(rows: FloatArray) -> FloatArray:
    """Median of each row without NaN; NaN for an empty row."""
    ordered = np.sort(rows, axis=1)
    count = np.isfinite(ordered).sum(axis=1)
    pick = np.arange(len(rows))
    lower = ordered[pick, np.maximum(count - 1, 0) // 2]
    upper = ordered[pick, np.minimum(count // 2, rows.shape[1] - 1)]
    return np.where(count > 0, (lower + upper) / 2, np.nan)


def robust_slope(level: FloatArray, rows: IntArray, stride: int) -> Slope:
    """Slope per hour at `rows` of a one-minute level over 12 points `stride` minutes apart.

    Parameters
    ----------
    level
        Shape (m,): one value a minute, NaN where there is none.
    rows
        Shape (n,): positions in `level`; points before its start count as NaN.
    stride
        Minutes between points: the window is 11 strides long.

    References
    ----------
    Theil (1950), Sen (1968): median of all pairwise slopes.
    """
    where = rows[:, None] - stride * np.arange(_POINTS - 1, -1, -1)
    points = np.where(where >= 0, level[np.maximum(where, 0)], np.nan)
    pairs = np.sort((points[:, _SECOND] - points[:, _FIRST]) / ((_SECOND - _FIRST) * (stride / 60.0)), axis=1)
    count = np.isfinite(pairs).sum(axis=1)
    pick = np.arange(len(rows))
    top = np.maximum(count - 1, 0)
    known = count >= _FEWEST_PAIRS
    middle = (pairs[pick, top // 2] + pairs[pick, (top + 1) // 2]) / 2
    tenth = top // 10
    return Slope(
        np.where(known, middle, np.nan),
        np.where(known, pairs[pick, tenth], np.nan),
        np.where(known, pairs[pick, top - tenth], np.nan),
    )


class MinuteGrid:
    """Collects readings into minutes and turns closed minutes into feature rows.

    Parameters
    ----------
    baseline
        What is usual at an instant; None while learning.
    rate_window_us
        Window of the series' own rate alarm, if it has one.
    """

    __slots__ = (
        "_cell",
        "_first",
        "_level",
        "_medians",
        "_minute",
        "_minutes",
        "_rate_stride",
        "_values",
        "baseline",
    )

    def __init__(self, baseline: Baseline | None, rate_window_us: int | None) -> None:
        self.baseline = baseline
        self._rate_stride = None if rate_window_us is None else max(1, rate_window_us // MINUTE_US // 11)
        self._minute = -1
        self._cell: list[float] = []
        self._minutes: list[int] = []
        self._medians: list[float] = []
        self._first = 0  # the minute of the first element of the two context arrays
        self._values: FloatArray = np.empty(0)
        self._level: FloatArray = np.empty(0)

    def collect(self, times_us: list[int], values: list[float]) -> None:
        """Take readings in order; minutes that they close wait for `rows`."""
        minute, cell = self._minute, self._cell
        for position, time_us in enumerate(times_us):
            here = time_us // MINUTE_US
            if here != minute:
                if cell:
                    cell.sort()
                    size = len(cell)
                    self._medians.append((cell[(size - 1) // 2] + cell[size // 2]) / 2)
                    self._minutes.append(minute)
                cell = []
                minute = here
            cell.append(values[position])
        self._minute, self._cell = minute, cell

    def rows(self) -> Features | None:
        """Features of the minutes closed since the last call; None if there are none."""
        if not self._minutes:
            return None
        minutes = np.array(self._minutes, np.int64)
        medians = np.array(self._medians)
        self._minutes, self._medians = [], []
        start = int(minutes[0])
        held = self._first + len(self._values)
        if not len(self._values) or start - held > LOOK_BACK_MINUTES:
            self._first, self._values, self._level = start, np.empty(0), np.empty(0)
            held = start
        fresh = np.full(int(minutes[-1]) + 1 - held, np.nan)
        fresh[minutes - held] = medians
        before = len(self._values)
        self._values = np.concatenate((self._values, fresh))
        padded = np.concatenate((np.full(_LEVEL_MINUTES - 1, np.nan), self._values))
        windows = sliding_window_view(padded[before:], _LEVEL_MINUTES)
        self._level = np.concatenate((self._level, _sorted_median(windows)))
        features = self._features(minutes, minutes - self._first)
        excess = len(self._values) - LOOK_BACK_MINUTES
        if excess > 0:
            self._first += excess
            self._values, self._level = self._values[excess:].copy(), self._level[excess:].copy()
        return features

    def _features(self, minutes: IntArray, rows: IntArray) -> Features:
        level = self._level
        times_us = (minutes + 1) * MINUTE_US
        where = rows[:, None] - _DAY_OFFSETS
        day = np.where(where >= 0, level[np.maximum(where, 0)], np.nan)
        enough = np.isfinite(day).sum(axis=1) >= _FEWEST_HOURS
        unknown = np.full(len(rows), np.nan)
        low, high = (unknown, unknown) if self.baseline is None else self.baseline.expect(times_us)
        return Features(
            times_us=times_us,
            level=level[rows],
            slope_short=robust_slope(level, rows, 2),
            slope=robust_slope(level, rows, 5),
            slope_long=robust_slope(level, rows, 16),
            day_low=np.where(enough, np.fmin.reduce(day, axis=1), np.nan),
            day_high=np.where(enough, np.fmax.reduce(day, axis=1), np.nan),
            expected_low=low,
            expected_high=high,
            rate=None if self._rate_stride is None else robust_slope(level, rows, self._rate_stride),
        )
