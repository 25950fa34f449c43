"""Geometry of charts: values and instants become paths, ticks and marks for server-rendered SVG.

Coordinates of paths are in a square of 1000 by 1000 that the page stretches; ticks and marks are in
per cent, so that text keeps its size on a phone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from math import ceil

import numpy as np

from collector.axes import is_of_days, runs, value_range, wall_step_s, wall_times
from collector.pages.labels import SeriesLabel
from collector.pages.moments import day_text, local, month_text, weekday_text
from collector.pages.record import Buckets
from rules import MICROSECONDS, FloatArray, IntArray

_SIZE = 1000.0
_EDGE_PERCENT = 5.0
# On a phone the word "alarm" takes this much of the width.
_WORDS_PERCENT = 12.0
# Differences of values beyond this would no longer be numbers.
_GREATEST = 1e300


@dataclass(frozen=True, slots=True)
class Tick:
    """A place on an axis, in per cent from the left or the top, and what is written there."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class Limit:
    """A horizontal line and its words."""

    at: float
    text: str
    is_danger: bool
    is_high: bool


@dataclass(frozen=True, slots=True)
class Moment:
    """A vertical line and its words, if it has any; `kind` is a class of the style sheet."""

    at: float
    text: str
    kind: str

    @property
    def anchor(self) -> str:
        """Which end of the words stands at the line: the first evidence leaves room to the alarm."""
        return "end" if self.at > (25 if self.kind == "evidence" else 50) else "start"


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything that the template draws; `words` says what can be seen."""

    label: SeriesLabel
    band: str
    line: str
    times: tuple[Tick, ...]
    values: tuple[Tick, ...]
    limits: tuple[Limit, ...]
    moments: tuple[Moment, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Frame:
    """The stretch of time and the range of values that a chart covers."""

    start_us: int
    end_us: int
    low: float
    high: float

    def x(self, times_us: IntArray) -> FloatArray:
        """Places of instants from the left, 0 to 1000."""
        return np.asarray((times_us - self.start_us) * (_SIZE / (self.end_us - self.start_us)), np.float64)

    def y(self, values: FloatArray) -> FloatArray:
        """Places of values from the top, 0 to 1000."""
        return np.asarray((self.high - values) * (_SIZE / (self.high - self.low)), np.float64)

    def time_percent(self, at_us: int) -> float:
        """Place of an instant in per cent from the left."""
        return round(100.0 * (at_us - self.start_us) / (self.end_us - self.start_us), 2)

    def value_percent(self, value: float) -> float:
        """Place of a value in per cent from the top."""
        return round(100.0 * (self.high - value) / (self.high - self.low), 2)


def draw(
    label: SeriesLabel,
    buckets: Buckets,
    start_us: int,
    end_us: int,
    time_zone: str,
    *,
    moments: Iterable[tuple[int, str, str]] = (),
) -> Chart:
    """Lay out a band of low and high with the line of means, over `start_us` to `end_us`.

    Parameters
    ----------
    moments
        Instant, words and kind of the vertical lines; those outside the chart are left out.
    """
    points = _points_of(buckets)
    limits = _limits_of(label)
    low, high = points.range
    limited = value_range(low, high, [value for value, *_ in limits], label.resolution)
    frame = Frame(start_us, end_us, *limited)
    return Chart(
        label=label,
        band=_band(frame, points),
        line=_line(frame, points),
        times=time_ticks(frame, time_zone),
        values=_value_ticks(frame, label),
        limits=tuple(
            Limit(frame.value_percent(value), text, is_danger, is_high)
            for value, text, is_danger, is_high in limits
            if frame.low < value < frame.high
        ),
        moments=_moments(frame, moments),
        words=_words(label, points),
    )


def _moments(frame: Frame, moments: Iterable[tuple[int, str, str]]) -> tuple[Moment, ...]:
    """Lay out the vertical lines; an alarm close behind its first evidence bears the words of both."""
    found: list[Moment] = []
    for at_us, text, kind in moments:
        if not frame.start_us <= at_us <= frame.end_us:
            continue
        moment = Moment(frame.time_percent(at_us), text, kind)
        if kind == "alarm" and found and moment.at - found[-1].at < _WORDS_PERCENT:
            moment = replace(moment, text=f"{found[-1].text}, {text}")
            found[-1] = replace(found[-1], text="")
        found.append(moment)
    return tuple(found)


def limit_words(label: SeriesLabel) -> str:
    """The limits of a series in words, "" if it has none."""
    return "; ".join(text for _, text, *_ in _limits_of(label))


def _limits_of(label: SeriesLabel) -> list[tuple[float, str, bool, bool]]:
    if label.rules is None or label.is_two_state:
        return []
    found = []
    for alarm in sorted(label.rules.limit_alarms, key=lambda one: one.setpoint):
        name = "danger line" if alarm.is_danger else "over limit" if alarm.is_high else "under limit"
        text = f"{name} {label.show(alarm.setpoint)}"
        found.append((alarm.setpoint, text, alarm.is_danger, alarm.is_high))
    return found


@dataclass(frozen=True, slots=True)
class _Points:
    """Filled buckets as columns; `times_us` are their middles."""

    times_us: IntArray
    low: FloatArray
    mean: FloatArray
    high: FloatArray
    counts: IntArray

    @property
    def range(self) -> tuple[float, float]:
        """Lowest and highest value; 0 and 1 without any."""
        if len(self.times_us) == 0:
            return 0.0, 1.0
        return float(self.low.min()), float(self.high.max())


def _points_of(buckets: Buckets, start_us: int = 0, end_us: int = 2**62) -> _Points:
    """The filled buckets that begin in a stretch of time, fit to be drawn."""
    starts_us = buckets.starts_us
    width_us = int(starts_us[1] - starts_us[0]) if len(starts_us) > 1 else 0
    kept = (buckets.counts > 0) & np.isfinite(buckets.low) & np.isfinite(buckets.high)
    kept &= ~np.isnan(buckets.mean) & (starts_us >= start_us) & (starts_us < end_us)
    low, mean, high = (
        np.clip(column[kept], -_GREATEST, _GREATEST) for column in (buckets.low, buckets.mean, buckets.high)
    )
    return _Points(starts_us[kept] + width_us // 2, low, mean, high, buckets.counts[kept])


def _line(frame: Frame, points: _Points) -> str:
    x, y = frame.x(points.times_us), frame.y(points.mean)
    # A lone point is a line of no length, which round ends make visible.
    return "".join(
        f"M{_text(x[run], y[run])}" + ("h0" if run.stop - run.start == 1 else "")
        for run in runs(points.times_us)
    )


def _band(frame: Frame, points: _Points) -> str:
    x, top, bottom = frame.x(points.times_us), frame.y(points.high), frame.y(points.low)
    return "".join(
        f"M{_text(x[run], top[run])}L{_text(x[run][::-1], bottom[run][::-1])}z"
        for run in runs(points.times_us)
    )


def _text(x: FloatArray, y: FloatArray) -> str:
    return " ".join(f"{one:.0f},{other:.0f}" for one, other in zip(x.tolist(), y.tolist(), strict=True))


def _value_ticks(frame: Frame, label: SeriesLabel) -> tuple[Tick, ...]:
    if label.is_two_state:
        return tuple(Tick(frame.value_percent(value), label.show(value)) for value in (0.0, 1.0))
    ticks = label.ticks(frame.low, frame.high)
    return tuple(Tick(frame.value_percent(value), label.show(value)) for value in ticks)


def time_ticks(frame: Frame, time_zone: str, most: int = 6) -> tuple[Tick, ...]:
    """Round wall times of the tank's zone within a frame."""
    start, end = (local(at_us, time_zone) for at_us in (frame.start_us, frame.end_us))
    seconds = (frame.end_us - frame.start_us) / MICROSECONDS
    step = wall_step_s(seconds, most)
    found = []
    for at in _months(start, end, most) if step is None else wall_times(start, end, step):
        percent = frame.time_percent(round(at.timestamp()) * MICROSECONDS)
        if not _EDGE_PERCENT <= percent <= 100 - _EDGE_PERCENT:
            continue
        if step is None:
            text = month_text(at)
        elif is_of_days(step):
            text = day_text(at)
        else:
            text = weekday_text(at) if at.hour == at.minute == 0 else f"{at:%H:%M}"
        found.append(Tick(percent, text))
    return tuple(found)


def _months(start: datetime, end: datetime, most: int) -> Iterable[datetime]:
    first = start.year * 12 + start.month - 1
    last = end.year * 12 + end.month - 1
    for month in range(first, last + 1, max(1, ceil((last - first) / most))):
        yield start.replace(year=month // 12, month=month % 12 + 1, day=1, hour=0, minute=0, second=0)


def _words(label: SeriesLabel, points: _Points) -> str:
    if len(points.times_us) == 0:
        return f"{label.title}: no usable reading in this time."
    low, high = points.range
    mean = float(np.average(points.mean, weights=points.counts))
    return (
        f"{label.title}: lowest {label.show(low)}, mean {label.show(mean)}, highest {label.show(high)}, "
        f"from {int(points.counts.sum())} readings."
    )
