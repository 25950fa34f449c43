"""After planned work: the tank as a suppressed fault sees it again. What is left of the work?

What the work moved is left out of slopes, levels and habits, and what is usual is widened, never
shifted, by the offset that was found when the water had come to rest; the widening wears off over a
day. So a new level does not ring, and what goes on moving does. A day after the settle time nothing
of the work is left.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from rules.baseline import Band, Baseline
from rules.blocks import FloatArray, IntArray
from rules.planned_work import RESETTLE_US, PlannedWork
from rules.trace import HOUR_CELLS, NAN, STEP_US, Trace

# The first cell that holds readings tells the offset; later than this it tells of something else.
_OFFSET_CELLS = 2 * HOUR_CELLS


def masked(trace: Trace, works: Iterable[PlannedWork]) -> Trace:
    """A copy of a trace in which the cells of planned work and its settle time hold no readings."""
    copy = Trace()
    copy.step, copy.last_cell = trace.step, trace.last_cell
    copy.last_us, copy.is_flat = trace.last_us, trace.is_flat
    copy.medians = list(trace.medians)
    copy.noises = list(trace.noises)
    copy.smallest_steps = list(trace.smallest_steps)
    count = len(copy.medians)
    first = trace.step + 1 - count
    for work in works:
        start = max(0, work.from_us // STEP_US - first)
        end = min(count, -(-work.settled_us // STEP_US) - first)
        if start < end:
            hole = [NAN] * (end - start)
            for column in (copy.medians, copy.noises, copy.smallest_steps):
                column[start:end] = hole
    return copy


@dataclass(frozen=True, slots=True)
class Widening:
    """How far the usual band is widened on either side from an instant on; it wears off over a day."""

    from_us: int
    low: float
    high: float

    def share_at(self, time_us: int) -> float:
        """How much of it is left, 1 at its beginning and 0 a day later."""
        if time_us < self.from_us:
            return 0.0
        return max(0.0, 1.0 - (time_us - self.from_us) / RESETTLE_US)


@dataclass(frozen=True, slots=True)
class WidenedBaseline:
    """A baseline whose band is widened; of several widenings the greater counts."""

    inner: Baseline
    widenings: tuple[Widening, ...]

    def band_at(self, time_us: int) -> Band:
        """Return the widened band at an instant."""
        low, centre, high = self.inner.band_at(time_us)
        return Band(
            low - max(one.low * one.share_at(time_us) for one in self.widenings),
            centre,
            high + max(one.high * one.share_at(time_us) for one in self.widenings),
        )

    def expect(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the widened band's edges at instants; see `Baseline`."""
        bands = [self.band_at(int(time_us)) for time_us in times_us]
        return np.array([band.low for band in bands]), np.array([band.high for band in bands])


def widened(trace: Trace, baseline: Baseline, works: Iterable[PlannedWork]) -> Baseline:
    """The baseline of a series behind planned work: widened by what was found as it settled.

    A pure function of the trace, so a restart finds the same.
    """
    found = []
    for work in works:
        widening = _widening(trace, baseline, work)
        if widening is not None:
            found.append(widening)
    return WidenedBaseline(baseline, tuple(found)) if found else baseline


def _widening(trace: Trace, baseline: Baseline, work: PlannedWork) -> Widening | None:
    """How far outside the usual the first readings behind the settle time lie; None within it."""
    first = trace.step + 1 - len(trace.medians)
    start = max(0, -(-work.settled_us // STEP_US) - first)
    for place in range(start, min(start + _OFFSET_CELLS, len(trace.medians))):
        value = trace.medians[place]
        if value == value:
            at_us = (first + place) * STEP_US + STEP_US // 2
            band = baseline.band_at(at_us)
            low, high = max(0.0, band.low - value), max(0.0, value - band.high)
            return Widening(work.settled_us, low, high) if low or high else None
    return None
