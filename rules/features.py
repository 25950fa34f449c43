"""One-minute features of a series: level, robust slopes, the last day's range, the expected band.

Features do not depend on thresholds, so tuning computes them once and tries many. They live on a grid
of whole minutes since 1970; a minute is closed by the series' own first reading behind it, so the
features, too, do not depend on how the stream is cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

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


class Features:
    """Rows of features of one series, one per closed minute that holds a reading.

    Each feature is computed when it is first asked for, for all rows at once. All arrays have shape
    (n,); NaN where not known.

    Parameters
    ----------
    minutes
        The closed minutes, counted from 1970.
    context
        Levels of a stretch of minutes without holes (NaN where there is none).
    rows
        Positions of `minutes` in `context`.
    baseline
        What is usual, None while learning.
    rate_stride
        Minutes between the points of the series' own rate alarm, None where it has none.
    """

    def __init__(
        self,
        minutes: IntArray,
        context: FloatArray,
        rows: IntArray,
        baseline: Baseline | None,
        rate_stride: int | None,
    ) -> None:
        self._context = context
        self._rows = rows
        self._baseline = baseline
        self._rate_stride = rate_stride
        self.times_us: IntArray = (minutes + 1) * MINUTE_US

    def __len__(self) -> int:
        return len(self.times_us)

    @cached_property
    def level(self) -> FloatArray:
        """Median of the last five minutes' medians, in the unit of the series."""
        return self._context[self._rows]

    @cached_property
    def slope_short(self) -> Slope:
        """Slope over 22 minutes."""
        return robust_slope(self._context, self._rows, 2)

    @cached_property
    def slope(self) -> Slope:
        """Slope over 55 minutes."""
        return robust_slope(self._context, self._rows, 5)

    @cached_property
    def slope_long(self) -> Slope:
        """Slope over 176 minutes."""
        return robust_slope(self._context, self._rows, 16)

    @cached_property
    def rate(self) -> Slope | None:
        """Slope over the window of the series' own rate alarm."""
        return (
            None if self._rate_stride is None else robust_slope(self._context, self._rows, self._rate_stride)
        )

    @cached_property
    def day_range(self) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest hourly level of the day that ended three hours ago."""
        where = self._rows[:, None] - _DAY_OFFSETS
        day = np.where(where >= 0, self._context[np.maximum(where, 0)], np.nan)
        enough = np.isfinite(day).sum(axis=1) >= _FEWEST_HOURS
        return (
            np.where(enough, np.fmin.reduce(day, axis=1), np.nan),
            np.where(enough, np.fmax.reduce(day, axis=1), np.nan),
        )

    @cached_property
    def expected(self) -> tuple[FloatArray, FloatArray]:
        """Low and high edge of what is usual at this time."""
        if self._baseline is None:
            unknown = np.full(len(self), np.nan)
            return unknown, unknown
        return self._baseline.expect(self.times_us)


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
        "_last",
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
        self._last = 0  # the minute of the last element of the two context arrays
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
        before = len(self._values)
        if not before:
            self._last = int(minutes[0]) - 1
        # A hole longer than the look-back is kept as long as that: nothing sees across it anyway.
        steps = np.minimum(np.diff(minutes, prepend=self._last), LOOK_BACK_MINUTES)
        rows = before - 1 + np.cumsum(steps)
        fresh = np.full(int(rows[-1]) + 1 - before, np.nan)
        fresh[rows - before] = medians
        self._last = int(minutes[-1])
        self._values = np.concatenate((self._values, fresh))
        padded = np.concatenate((np.full(_LEVEL_MINUTES - 1, np.nan), self._values))
        windows = sliding_window_view(padded[before:], _LEVEL_MINUTES)
        self._level = np.concatenate((self._level, _sorted_median(windows)))
        features = Features(minutes, self._level, rows, self.baseline, self._rate_stride)
        excess = len(self._values) - LOOK_BACK_MINUTES
        if excess > 0:
            self._values, self._level = self._values[excess:].copy(), self._level[excess:].copy()
        return features
