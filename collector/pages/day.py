"""The last day of a series, small: its line, the band that is usual behind it, its range and use in words.

Paths are in a square of 1000 by 1000, as those of `collector.pages.drawing`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from collector.axes import runs, value_range
from collector.pages.drawing import Frame
from collector.pages.labels import SeriesLabel
from collector.pages.record import Buckets
from rules import HOUR_US, FloatArray, IntArray, Learning, PoorFit, WeekProfile

DAY_US = 24 * HOUR_US
_QUARTER_US = HOUR_US // 4
# A band that is far off is not drawn: it would flatten the line.
_MOST_TIMES = 6.0


@dataclass(frozen=True, slots=True)
class Day:
    """`line` and `band` are paths, "" for none; `end` is where the line ends, in per cent.

    `words` is the range of the day; `share` is how large a part of it something was on that is only on or
    off, None where there is no reading.
    """

    line: str = ""
    band: str = ""
    words: str = ""
    end: tuple[float, float] | None = None
    share: float | None = None


NO_DAY = Day()


def day_of(
    label: SeriesLabel,
    buckets: Buckets,
    fitted: WeekProfile | Learning | PoorFit | None,
    end_us: int,
) -> Day:
    """Draw the day that ends at `end_us`, from buckets of a quarter of an hour or less."""
    start_us = end_us - DAY_US
    kept = (buckets.counts > 0) & (buckets.starts_us >= start_us) & (buckets.starts_us < end_us)
    kept &= np.isfinite(buckets.low) & np.isfinite(buckets.high) & np.isfinite(buckets.mean)
    if not kept.any():
        return NO_DAY
    times_us = buckets.starts_us[kept] + _QUARTER_US // 2
    mean, low, high = buckets.mean[kept], float(buckets.low[kept].min()), float(buckets.high[kept].max())
    if abs(low) > 1e300 or abs(high) > 1e300:
        return NO_DAY
    first, last = label.show(low), label.show(high)
    number, _, unit = first.partition(" ")
    words = first if first == last else f"{number if unit and last.endswith(unit) else first} to {last}"
    quarters_us, below, above = _usual(fitted, label, start_us, end_us)
    span = max(high - low, 6 * label.resolution)
    near = [
        float(edge)
        for edge in (*below, *above)
        if low - _MOST_TIMES * span <= edge <= high + _MOST_TIMES * span
    ]
    frame = Frame(start_us, end_us, *value_range(min([low, *near]), max([high, *near]), (), label.resolution))
    x, y = frame.x(times_us), frame.y(mean)
    line = "".join(
        f"M{_text(x[run], y[run])}" + ("h0" if run.stop - run.start == 1 else "") for run in runs(times_us)
    )
    band = ""
    if near:
        across = np.clip(frame.x(quarters_us), 0, 1000)
        top, bottom = np.clip(frame.y(above), 0, 1000), np.clip(frame.y(below), 0, 1000)
        band = f"M{_text(across, top)}L{_text(across[::-1], bottom[::-1])}z"
    share = float(np.mean(mean) / high) if high > 0.0 and low >= 0.0 else 0.0
    return Day(line, band, words, (round(float(x[-1]) / 10, 1), round(float(y[-1]) / 10, 1)), share)


def _usual(
    fitted: WeekProfile | Learning | PoorFit | None, label: SeriesLabel, start_us: int, end_us: int
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Edges of the usual band at each half hour; empty where it is not known."""
    if not isinstance(fitted, WeekProfile) or label.is_two_state:
        return np.empty(0, np.int64), np.empty(0), np.empty(0)
    times_us = np.arange(start_us, end_us + 1, 2 * _QUARTER_US, dtype=np.int64)
    return times_us, *fitted.expect(times_us)


def _text(x: FloatArray, y: FloatArray) -> str:
    return " ".join(f"{one:.0f},{other:.0f}" for one, other in zip(x.tolist(), y.tolist(), strict=True))
