"""The last three days of a series, hour by hour: what it usually does, and what moves it slowly.

Taken at most once an hour and only when a fault asks, from the cells of whole hours alone, so that nothing
depends on when it was asked.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple, TypeVar, cast

import numpy as np

from rules.baseline import Band, Baseline
from rules.blocks import FloatArray
from rules.change.cusum import cusum
from rules.change.ewma import ewmas
from rules.change.step import Step, find_step
from rules.known import in_order, middle, middles
from rules.slope import Slope, robust_slope
from rules.trace import HOUR_CELLS, NAN, STEP_US, Trace

Found = TypeVar("Found")

HOURS = 72
# Drift is looked for in medians of six hours: four a day are nearly independent and know no thermostat.
PERIOD_HOURS = 6
PERIODS = HOURS // PERIOD_HOURS
# k, and h for one false alarm of independent values in ten years of four a day: `cusum_limit(0.5, 14600)`.
ALLOWANCE = 0.5
LIMIT = 8.43
# From this share of the limit on a step is looked for that explains the move.
WORTH_EXPLAINING = 0.5
# Lambda of the level that is reported; two and a half periods count as much as all before.
_WEIGHT = 0.3
# The usual band is made to hold 99 % of what follows, whatever its distribution; of a normal one that is so
# many standard deviations to each side.
_BAND_SIGMAS = 2.576
# What the newest hours show is not yet usual.
RECENT_HOURS = 6
_RECENT_CELLS = RECENT_HOURS * HOUR_CELLS
# A day at least is needed to say what is usual.
_FEWEST_CELLS = 20 * HOUR_CELLS
_PERIODS_KNOWN = 8


class Drift(NamedTuple):
    """A slow move of the residual against the baseline over the last three days.

    Parameters
    ----------
    high, low
        C+ and C- over C+'s and C-'s limit: at 1 the chart rings.
    level
        EWMA of the residual, in the unit of the series.
    slope
        Robust slope of the residual per hour.
    step
        A step that explains it instead, if there is one; not looked for far from the limit.
    since_us
        Where the greater of both began to gather.
    """

    high: float
    low: float
    level: float
    slope: Slope
    step: Step | None
    since_us: int


class Usual(NamedTuple):
    """How a series usually moves, without its last six hours and the rest in which it is now.

    NaN where a day is not known.

    Parameters
    ----------
    noise, greatest_noise
        Median of the noise within cells, and greatest median of an hour of them.
    jump, rough_jump, greatest_jump
        Median, 95 % and 98 % quantile of how far a cell median lies from the mean of its neighbours.
    moving
        Share of cells in which the value moves at all.
    longest_rest
        Longest stretch without a move, in cells.
    low, high
        1 % and 99 % quantile of the cell medians.
    """

    noise: float
    greatest_noise: float
    jump: float
    rough_jump: float
    greatest_jump: float
    moving: float
    longest_rest: int
    low: float
    high: float


UNKNOWN = Usual(NAN, NAN, NAN, NAN, NAN, NAN, 0, NAN, NAN)


class Hours:
    """Features of three days that ended with the last whole hour; each is computed when first asked for."""

    __slots__ = (
        "_bands",
        "_bands_before",
        "_baseline",
        "_centers",
        "_end",
        "_found",
        "_medians",
        "_residuals",
        "_sigma",
        "_trace",
        "hour",
    )

    def __init__(
        self, trace: Trace, step: int, baseline: Baseline | None, before: Hours | None = None
    ) -> None:
        self.hour = (step + 1) // HOUR_CELLS
        self._trace = trace
        self._end = self.hour * HOUR_CELLS
        self._baseline = baseline
        self._medians: list[float] | None = None
        self._centers: list[float] | None = None
        self._residuals: list[float] | None = None
        self._sigma = NAN
        self._bands: list[Band] | None = None
        # What the hour before asked of the same baseline need not be asked again.
        if before is not None and before._baseline is baseline and before.hour == self.hour - 1:
            self._bands_before = before._bands
        else:
            self._bands_before = None
        self._found: dict[object, object] = {}

    def is_of(self, step: int, baseline: Baseline | None) -> bool:
        """Whether this is still right at a step."""
        return (step + 1) // HOUR_CELLS == self.hour and baseline is self._baseline

    def _column(self, column: array[float]) -> FloatArray:
        """Elements of the whole hours in a column of the trace, the newest last."""
        end = len(column) - (self._trace.step + 1 - self._end)
        return np.asarray(column[max(0, end - HOURS * HOUR_CELLS) : max(0, end)])

    @property
    def cells(self) -> FloatArray:
        """Cell medians of the whole hours, three days of them at most, the newest last."""
        return self._column(self._trace.medians)

    def once(self, compute: Callable[[Hours], Found], key: object = None) -> Found:
        """What a fault makes of these hours; computed when first asked for.

        It is known again by `key`, without one by the function itself.
        """
        key = compute if key is None else key
        if key not in self._found:
            self._found[key] = compute(self)
        return cast(Found, self._found[key])

    @property
    def medians(self) -> list[float]:
        """Hourly medians, shape (72,), the newest last; NaN where nothing is known of an hour."""
        if self._medians is None:
            found = middles(by_hours(self.cells)).tolist()
            self._medians = [NAN] * (HOURS - len(found)) + found
        return self._medians

    @property
    def centers(self) -> list[float]:
        """What was usual in the middle of these hours; empty while learning."""
        if self._centers is None:
            self._centers = []
            if self._baseline is not None:
                self._bands = self._ask(self._baseline)
                self._centers = [band.centre for band in self._bands]
                widths = sorted(band.high - band.low for band in self._bands)
                self._sigma = widths[HOURS // 2] / (2 * _BAND_SIGMAS)
        return self._centers

    def _ask(self, baseline: Baseline) -> list[Band]:
        """The usual band in the middle of each hour."""
        known = [] if self._bands_before is None else self._bands_before[1:]
        self._bands_before = None
        start_us = (self._end - HOURS * HOUR_CELLS) * STEP_US
        missing = range(len(known), HOURS)
        return known + [
            baseline.band_at(start_us + (hour * HOUR_CELLS + HOUR_CELLS // 2) * STEP_US) for hour in missing
        ]

    @property
    def sigma(self) -> float:
        """Standard deviation that the usual band allows, in the unit of the series; NaN while learning."""
        return self._sigma if self.centers else NAN

    @property
    def residuals(self) -> list[float]:
        """Hourly medians less what was usual; empty while learning."""
        if self._residuals is None:
            self._residuals = [a - b for a, b in zip(self.medians, self.centers, strict=False)]
        return self._residuals

    @property
    def drift(self) -> Drift | None:
        """The slow move of the residual; None while learning or where too few hours are known."""
        return self.once(Hours._find_drift) if self.centers else None

    def _find_drift(self) -> Drift | None:
        residuals = self.residuals
        periods = []
        for start in range(0, HOURS, PERIOD_HOURS):
            known = sorted(value for value in residuals[start : start + PERIOD_HOURS] if value == value)
            periods.append(known[len(known) // 2] if len(known) > PERIOD_HOURS // 2 else NAN)
        known_periods = [value for value in periods if value == value]
        sigma = self.sigma
        if len(known_periods) < _PERIODS_KNOWN or not sigma > 0:
            return None
        chart = cusum([value / sigma for value in periods], ALLOWANCE)
        strength = max(chart.high, chart.low) / LIMIT
        since = chart.high_since if chart.high >= chart.low else chart.low_since
        level = NAN
        for level in ewmas(periods, _WEIGHT, known_periods[0]):  # noqa: B007 - the last one is kept
            pass
        between = sorted(
            abs(after - before)
            for before, after in pairwise(residuals)
            if after == after and before == before
        )
        noise = between[len(between) // 2] if between else NAN
        start_us = (self._end - (HOURS - since * PERIOD_HOURS) * HOUR_CELLS) * STEP_US
        return Drift(
            chart.high / LIMIT,
            chart.low / LIMIT,
            level,
            robust_slope(periods, PERIOD_HOURS),
            # A chart that is far from ringing needs no explanation.
            find_step(residuals, max(noise, sigma / 3)) if strength >= WORTH_EXPLAINING else None,
            start_us,
        )

    @property
    def usual(self) -> Usual:
        """How the series usually moves."""
        return self.once(Hours._find_usual)

    def _find_usual(self) -> Usual:
        medians, steps = self.cells, self._column(self._trace.smallest_steps)
        noises = self._column(self._trace.noises)[:-_RECENT_CELLS]
        recent = max(_RECENT_CELLS, _rest(medians, steps))
        places = np.flatnonzero(medians[:-recent] == medians[:-recent])
        if len(places) < 24 or places[-1] - places[0] < _FEWEST_CELLS:
            return UNKNOWN
        known, steps = medians[places], steps[places]
        moves = np.flatnonzero((known[1:] != known[:-1]) | (steps[1:] == steps[1:])) + 1
        rests = np.diff(places[np.concatenate(([0], moves, [len(places) - 1]))])
        jumps = np.sort(np.abs(known[1:-1] - (known[:-2] + known[2:]) / 2))
        ordered = np.sort(known)
        within = in_order(noises)
        rows = by_hours(noises)
        of_hours = middles(rows[2 * np.count_nonzero(rows == rows, axis=1) >= HOUR_CELLS])
        return Usual(
            noise=middle(within) if len(within) else NAN,
            greatest_noise=float(of_hours.max()) if len(of_hours) else NAN,
            jump=middle(jumps),
            rough_jump=float(jumps[math.floor(0.95 * (len(jumps) - 1))]),
            greatest_jump=float(jumps[math.floor(0.98 * (len(jumps) - 1))]),
            moving=len(moves) / len(known),
            longest_rest=int(rests.max()),
            low=float(ordered[len(ordered) // 100]),
            high=float(ordered[len(ordered) - 1 - len(ordered) // 100]),
        )

    def follows(self, hours: int) -> float:
        """How much of what is usual in these last hours the series does: 1 its whole day cycle, 0 none.

        Slope of the hourly medians over the centres of the band; NaN while learning or where less than two
        thirds of the hours are known.
        """
        return self.once(lambda _: self._find_follows(hours), ("follows", hours))

    def _find_follows(self, hours: int) -> float:
        pairs = [
            (center, value)
            for center, value in zip(self.centers[-hours:], self.medians[-hours:], strict=False)
            if value == value
        ]
        if len(pairs) < 2 * hours / 3:
            return NAN
        mean_center = sum(center for center, _ in pairs) / len(pairs)
        mean_value = sum(value for _, value in pairs) / len(pairs)
        square = sum((center - mean_center) ** 2 for center, _ in pairs)
        if square <= 0.0:
            return NAN
        return sum((center - mean_center) * (value - mean_value) for center, value in pairs) / square


def by_hours(cells: FloatArray) -> FloatArray:
    """The cells of each whole hour at the end, shape (hours, 12)."""
    return cells[len(cells) % HOUR_CELLS :].reshape(-1, HOUR_CELLS)


def _rest(medians: FloatArray, steps: FloatArray) -> int:
    """Cells at the end in which nothing moved."""
    places = np.flatnonzero(medians == medians)[::-1]
    known, steps = medians[places], steps[places]
    has_moved = steps == steps
    has_moved[1:] |= known[1:] != known[:-1]
    ends = places[has_moved]
    return len(medians) - 1 - int(ends[0]) if len(ends) else len(medians)
