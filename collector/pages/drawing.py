"""Geometry of charts: values and instants become paths, ticks and marks for server-rendered SVG.

Coordinates of paths are in a square of 1000 by 1000 that the page stretches; ticks and marks are in
per cent, so that text keeps its size on a phone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from collector.axes import runs, value_range
from collector.pages.labels import SeriesLabel
from collector.pages.placing import Place, place_words, rows_of_words
from collector.pages.record import Buckets
from collector.pages.ticks import Tick, time_ticks
from rules import FloatArray, IntArray

_SIZE = 1000.0
# Beyond what was projected, as a share of the axis.
_ROOM = 0.05
# Differences of values beyond this would no longer be numbers.
_GREATEST = 1e300


@dataclass(frozen=True, slots=True)
class Limit:
    """A horizontal line and its words; `place` is None where words would stand on what was measured.

    `kind` is a class of the style: "danger", "limit", or "was" for one of other settings.
    """

    at: float
    text: str
    kind: str
    place: Place | None


@dataclass(frozen=True, slots=True)
class Moment:
    """A vertical line and its words, if it has any, in a row over the plot; `kind` is a class of styles."""

    at: float
    text: str
    kind: str
    row: int = 0

    @property
    def anchor(self) -> str:
        """Which end of the words stands at the line: the first evidence leaves room to the alarm."""
        return "end" if self.at > (25 if self.kind == "evidence" else 50) else "start"


@dataclass(frozen=True, slots=True)
class Ahead:
    """What was projected at an instant: a line from there to a value, reached in a span of time."""

    from_us: int
    value: float
    at_us: int
    reached: float
    earliest_us: int
    latest_us: int


@dataclass(frozen=True, slots=True)
class Projected:
    """A projection as it is drawn: places of its line, and from where to where it would be reached."""

    x1: float
    y1: float
    x2: float
    y2: float
    earliest: float
    latest: float

    def slope(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Its line as points: places from the left, and twice those from the top, in per cent."""
        x = np.linspace(self.x1, self.x2, 50)
        y = np.linspace(self.y1, self.y2, 50)
        return x, y, y


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything that the template draws; `words` says what can be seen."""

    label: SeriesLabel
    usual: str
    band: str
    line: str
    other: str
    times: tuple[Tick, ...]
    values: tuple[Tick, ...]
    limits: tuple[Limit, ...]
    moments: tuple[Moment, ...]
    projected: tuple[Projected, ...]
    words: str

    @property
    def unit(self) -> str:
        """The unit of the upright axis, "" for none."""
        return "" if self.label.is_two_state else self.label.show(0.0).partition(" ")[2]

    @property
    def rows(self) -> int:
        """Rows of words over the plot."""
        return max((one.row + 1 for one in self.moments if one.text), default=0)


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


@dataclass(frozen=True, slots=True)
class Usual:
    """The usual band over a chart: instants and its edges, each of shape (n,); NaN where it is not known."""

    times_us: IntArray
    low: FloatArray
    high: FloatArray

    def known(self) -> Usual:
        """Without what is not known."""
        kept = np.isfinite(self.low) & np.isfinite(self.high)
        return Usual(self.times_us[kept], self.low[kept], self.high[kept])


def draw(
    label: SeriesLabel,
    buckets: Buckets,
    start_us: int,
    end_us: int,
    time_zone: str,
    *,
    moments: Iterable[tuple[int, str, str]] = (),
    usual: Usual | None = None,
    other: Buckets | None = None,
    ahead: Sequence[Ahead] = (),
    earlier: SeriesLabel | None = None,
) -> Chart:
    """Lay out a band of low and high with the line of means, over `start_us` to `end_us`.

    Parameters
    ----------
    moments
        Instant, words and kind of the vertical lines; those outside the chart are left out.
    usual
        What was usual, drawn behind the values.
    other
        Of another time, moved to this one, drawn as a second line.
    ahead
        What was projected.
    earlier
        The series under settings of before; what its limits were is drawn beside what they are.
    """
    points = _points_of(buckets)
    others = None if other is None else _points_of(other)
    usual = None if usual is None or label.is_two_state else usual.known()
    limits = [
        (value, text, "danger" if is_danger else "limit") for value, text, is_danger in _limits_of(label)
    ]
    if earlier is not None:
        were = [one for one in _limits_of(earlier) if one not in _limits_of(label)]
        limits += [(value, f"before: {text}", "was") for value, text, _ in were]
    ahead = [one for one in ahead if one.at_us > start_us and one.from_us < end_us]
    frame = Frame(start_us, end_us, *_range(label, points, others, usual, limits, ahead))
    drawn = [one for one in limits if frame.low < one[0] < frame.high]
    lines = [(frame.value_percent(value), text) for value, text, *_ in drawn]
    shown = _moments(frame, moments)
    measured = [
        (frame.x(one.times_us) / 10, frame.y(one.high) / 10, frame.y(one.low) / 10)
        for one in (points, others)
        if one is not None
    ]
    projected = tuple(_projected(frame, one) for one in ahead)
    drawn_ahead = [one.slope() for one in projected]
    places = place_words(lines, [*measured, *drawn_ahead], [one.at for one in shown])
    return Chart(
        label=label,
        usual="" if usual is None else _ribbon(frame, usual.times_us, usual.low, usual.high),
        band=_ribbon(frame, points.times_us, points.low, points.high),
        line=_line(frame, points),
        other="" if others is None else _line(frame, others),
        times=time_ticks(start_us, end_us, time_zone),
        values=_value_ticks(frame, label),
        limits=tuple(
            Limit(at, text, kind, place)
            for (at, text), (_, _, kind), place in zip(lines, drawn, places, strict=True)
        ),
        moments=shown,
        projected=projected,
        words=_words(label, points),
    )


def _range(
    label: SeriesLabel,
    points: _Points,
    others: _Points | None,
    usual: Usual | None,
    limits: Sequence[tuple[float, str, str]],
    ahead: Sequence[Ahead],
) -> tuple[float, float]:
    """What the upright axis covers: values and what was projected, and what lies near them."""
    low, high = points.range
    if others is not None and len(others.times_us):
        low, high = min(low, others.range[0]), max(high, others.range[1])
    near = [value for value, *_ in limits]
    if usual is not None and len(usual.times_us):
        near += [float(usual.low.min()), float(usual.high.max())]
    low, high = value_range(low, high, near, label.resolution)
    # What was projected widens the axis, and brings no limits on the other side with it.
    projected = [edge for one in ahead for edge in (one.value, one.reached)]
    room = _ROOM * (max([high, *projected]) - min([low, *projected]))
    return min([low, *(one - room for one in projected)]), max([high, *(one + room for one in projected)])


def _projected(frame: Frame, one: Ahead) -> Projected:
    return Projected(
        frame.time_percent(one.from_us),
        frame.value_percent(one.value),
        frame.time_percent(one.at_us),
        frame.value_percent(one.reached),
        frame.time_percent(one.earliest_us),
        frame.time_percent(one.latest_us),
    )


def _moments(frame: Frame, moments: Iterable[tuple[int, str, str]]) -> tuple[Moment, ...]:
    """Lay out the vertical lines; words at one place are told together."""
    found: list[Moment] = []
    for at_us, text, kind in moments:
        if not frame.start_us <= at_us <= frame.end_us:
            continue
        moment = Moment(frame.time_percent(at_us), text, kind)
        if text and found and found[-1].text and moment.at - found[-1].at < 1.0:
            moment = replace(moment, text=f"{found[-1].text}, {text}")
            found[-1] = replace(found[-1], text="")
        found.append(moment)
    told = [place for place, one in enumerate(found) if one.text]
    rows = rows_of_words([(found[place].at, found[place].anchor, found[place].text) for place in told])
    for place, row in zip(told, rows, strict=True):
        found[place] = replace(found[place], row=row)
    return tuple(found)


def limit_words(label: SeriesLabel) -> str:
    """The limits of a series in words, "" if it has none."""
    return "; ".join(text for _, text, _ in _limits_of(label))


def _limits_of(label: SeriesLabel) -> list[tuple[float, str, bool]]:
    if label.rules is None or label.is_two_state:
        return []
    found = []
    for alarm in sorted(label.rules.limit_alarms, key=lambda one: one.setpoint):
        name = "danger line" if alarm.is_danger else "over limit" if alarm.is_high else "under limit"
        found.append((alarm.setpoint, f"{name} {label.show(alarm.setpoint)}", alarm.is_danger))
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


def _ribbon(frame: Frame, times_us: IntArray, low: FloatArray, high: FloatArray) -> str:
    x, top, bottom = frame.x(times_us), frame.y(high), frame.y(low)
    return "".join(
        f"M{_text(x[run], top[run])}L{_text(x[run][::-1], bottom[run][::-1])}z" for run in runs(times_us)
    )


def _text(x: FloatArray, y: FloatArray) -> str:
    return " ".join(f"{one:.0f},{other:.0f}" for one, other in zip(x.tolist(), y.tolist(), strict=True))


def _value_ticks(frame: Frame, label: SeriesLabel) -> tuple[Tick, ...]:
    if label.is_two_state:
        return tuple(Tick(frame.value_percent(value), label.show(value)) for value in (0.0, 1.0))
    # The unit stands once, above them.
    ticks = label.ticks(frame.low, frame.high)
    return tuple(Tick(frame.value_percent(value), label.show(value).partition(" ")[0]) for value in ticks)


def _words(label: SeriesLabel, points: _Points) -> str:
    if len(points.times_us) == 0:
        return f"{label.title}: no usable reading in this time."
    low, high = points.range
    mean = float(np.average(points.mean, weights=points.counts))
    return (
        f"{label.title}: lowest {label.show(low)}, mean {label.show(mean)}, highest {label.show(high)}, "
        f"from {int(points.counts.sum())} readings."
    )
