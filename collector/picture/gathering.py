"""What a picture of an incident shows, gathered from the record of readings and from what is usual.

The first concerned series over the last hours, from some hours before the first evidence until now, and on
to where a danger line is reached if that is near.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import NamedTuple, Protocol, TypeAlias
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from collector.axes import runs, value_range, value_ticks, wall_step_s, wall_times
from collector.configuration import Configuration, SeriesConfiguration
from collector.picture.sketch import Limit, Point, Projection, Sketch, Span, Tick
from collector.units import display, resolution
from collector.wording.times import clock_text
from collector.wording.usual import usual_text
from rules import (
    HOUR_US,
    MICROSECONDS,
    TWO_STATE,
    Flag,
    FlagArray,
    FloatArray,
    Incident,
    IntArray,
    Learning,
    PoorFit,
    SeriesRules,
    WeekProfile,
)

# What was usual shows only beside some hours in which it was so; a whole day is too small for a phone.
_BEFORE_US = 4 * HOUR_US
_LEAST_US, _MOST_US = 6 * HOUR_US, 12 * HOUR_US
# A danger farther ahead than this share of what is behind would crowd what was measured.
_AHEAD = 0.5
# One point for every three or four pixels.
_POINTS = 240
_MOST_CHANGES = 400
_MOST_TIMES = 5
# Behind the last thing shown stays one part of so many free.
_ROOM = 40
_QUARTER_US = HOUR_US // 4
# Beyond it numbers are no longer told apart.
_GREATEST = 1e300
# The longest value that people write; beyond it stands a power of ten.
_VALUE_CHARACTERS = 12


class Readings(Protocol):
    """Columns of shape (n,), in order of time: instants, values (NaN: not measured), primary flags."""

    @property
    def times_us(self) -> IntArray: ...
    @property
    def values(self) -> FloatArray: ...
    @property
    def flags(self) -> FlagArray: ...


class IncidentRecord(Protocol):
    """An incident as it was recorded."""

    @property
    def incident(self) -> Incident: ...


class IncidentHistory(Protocol):
    """An incident with what happened in it."""

    @property
    def record(self) -> IncidentRecord: ...


class Record(Protocol):
    """What is asked of the store's reader; its methods may be called from any thread."""

    def incident(self, number: int) -> IncidentHistory:
        """One incident; KeyError if there is none of that number."""
        ...

    def series_id(self, tank: str, name: str) -> int:
        """Id of a series; KeyError if it was never registered."""
        ...

    def readings(self, series: int, start_us: int, end_us: int) -> Readings:
        """Every reading of a series in a half open range, whatever its flag."""
        ...


class Standing(Protocol):
    """The newest fit of what is usual for a series."""

    @property
    def fitted(self) -> WeekProfile | Learning | PoorFit: ...


# By index of the series in the configuration.
UsualSource: TypeAlias = Callable[[], Mapping[int, Standing]]


def sketch_of(
    record: Record,
    configuration: Configuration,
    usual: UsualSource,
    number: int,
    now_us: int,
    *,
    start_us: int | None = None,
) -> Sketch | None:
    """Gather the picture of an incident; None where no series of it is known or has a reading.

    It shows the last hours before `now_us`, or all since `start_us` where that is given.

    Raises
    ------
    KeyError
        If there is no incident of that number.
    """
    incident = record.incident(number).record.incident
    first_us = min(incident.first_evidence_us, incident.alarmed_at_us)
    if start_us is None:
        start_us = now_us - min(max(now_us - first_us + _BEFORE_US, _LEAST_US), _MOST_US)
    for name in incident.series:
        try:
            index = configuration.series_index(incident.tank, name)
            readings = record.readings(record.series_id(incident.tank, name), start_us, now_us + 1)
        except KeyError:
            continue
        measured = _measured(readings)
        if len(measured.times_us):
            standing = usual().get(index)
            fitted = None if standing is None else standing.fitted
            return _Gathering(configuration, incident, index, fitted, start_us, now_us).sketch(measured)
    return None


class _Columns(NamedTuple):
    """What was measured, shape (n,); `usable` is false for readings that failed their tests."""

    times_us: IntArray
    values: FloatArray
    usable: npt.NDArray[np.bool_]


def _measured(readings: Readings) -> _Columns:
    kept = np.isfinite(readings.values)
    values = np.clip(readings.values[kept], -_GREATEST, _GREATEST)
    return _Columns(readings.times_us[kept], values, readings.flags[kept] != int(Flag.FAIL))


class _Gathering:
    """One series of an incident, on its way to a sketch."""

    def __init__(
        self,
        configuration: Configuration,
        incident: Incident,
        index: int,
        fitted: WeekProfile | Learning | PoorFit | None,
        start_us: int,
        now_us: int,
    ) -> None:
        self._series: SeriesConfiguration = configuration.series[index]
        self._rules: SeriesRules = configuration.engine.series[index]
        self._quantity = self._series.quantity
        self._units = configuration.units
        self._is_two_state = self._quantity in TWO_STATE
        tank = configuration.tank(incident.tank)
        self._zone = tank.rules.time_zone
        self._tank_title = " ".join(tank.title.split()) or tank.name
        self._incident, self._fitted = incident, fitted
        self._start_us, self._now_us = start_us, now_us
        self._end_us = now_us

    def sketch(self, measured: _Columns) -> Sketch:
        ahead = self._projection()
        last_shown_us = (
            self._now_us if ahead is None else self._start_us + round(ahead.latest_s * MICROSECONDS)
        )
        self._end_us = last_shown_us + (self._now_us - self._start_us) // _ROOM
        band = self._band()
        limits = self._limits()
        low, high = self._range(measured, band, limits, ahead)
        lines, spread = self._changes(measured) if self._is_two_state else _points(measured, self._start_us)
        last_us, last = int(measured.times_us[-1]), float(measured.values[-1])
        return Sketch(
            title=self._title(),
            newest=f"{self._show(last)} at {clock_text(last_us, self._now_us, self._zone)}",
            usual=self._usual(),
            end_s=self._at_s(self._end_us),
            low=low,
            high=high,
            times=self._times(),
            values=self._value_ticks(low, high),
            lines=lines,
            spread=spread,
            band=band,
            limits=limits,
            moments=self._moments(),
            projection=ahead,
        )

    def _title(self) -> str:
        title = " ".join(self._series.title.split()) or self._series.name.replace("_", " ").capitalize()
        unit = "" if self._is_two_state else self._units.of(self._quantity).unit
        return f"{title} of {self._tank_title}{', ' if unit else ''}{unit}"

    def _usual(self) -> str:
        if self._is_two_state:
            return ""
        if isinstance(self._fitted, WeekProfile):
            return f"usual {usual_text(self._fitted, self._rules, self._now_us, self._units)}"
        return "no usual band" if isinstance(self._fitted, PoorFit) else "no usual band yet"

    def _band(self) -> tuple[Span, ...]:
        if not isinstance(self._fitted, WeekProfile) or self._is_two_state:
            return ()
        times_us = np.arange(self._start_us, self._end_us + _QUARTER_US, _QUARTER_US, dtype=np.int64)
        low, high = self._fitted.expect(times_us)
        return _spans((times_us - self._start_us) / MICROSECONDS, low, high)

    def _limits(self) -> tuple[Limit, ...]:
        if self._is_two_state:
            return ()
        is_high = self._is_high
        found = [
            Limit(one.setpoint, self._danger_words(one.setpoint), one.is_high, is_danger=True)
            for one in self._rules.limit_alarms
            # The line on the other side would only flatten what is seen.
            if one.is_danger and is_high in (None, one.is_high)
        ]
        limit = self._incident.evidence.limit
        if limit is not None and limit not in (one.value for one in found):
            found.append(Limit(limit, f"limit {self._show(limit)}", is_high is True, is_danger=False))
        return tuple(found)

    @property
    def _is_high(self) -> bool | None:
        """Whether the value is too high or goes up, or too low or down; None where neither is known."""
        incident, evidence = self._incident, self._incident.evidence
        for word, is_high in (("over_", True), ("under_", False)):
            if incident.cause.startswith(word):
                return is_high
        if evidence.danger is not None and evidence.value is not None:
            return evidence.danger > evidence.value
        return None if not evidence.rate_per_hour else evidence.rate_per_hour > 0

    def _danger_words(self, setpoint: float) -> str:
        evidence = self._incident.evidence
        words = f"danger line {self._show(setpoint)}"
        if (
            evidence.danger_at_us is None
            or evidence.danger_at_us <= self._now_us
            or evidence.danger != setpoint
        ):
            return words
        return f"{words}, about {clock_text(evidence.danger_at_us, self._now_us, self._zone)}"

    def _projection(self) -> Projection | None:
        evidence = self._incident.evidence
        danger, at_us = evidence.danger, evidence.danger_at_us
        if danger is None or at_us is None or at_us <= self._now_us or self._is_two_state:
            return None
        if at_us - self._now_us > _AHEAD * (self._now_us - self._start_us):
            return None
        farthest_us = self._now_us + round(_AHEAD * (self._now_us - self._start_us))
        earliest_us = at_us if evidence.danger_earliest_us is None else evidence.danger_earliest_us
        latest_us = at_us if evidence.danger_latest_us is None else evidence.danger_latest_us
        return Projection(
            self._at_s(at_us),
            danger,
            self._at_s(max(earliest_us, self._now_us)),
            self._at_s(min(latest_us, farthest_us)),
        )

    def _range(
        self,
        measured: _Columns,
        band: Sequence[Span],
        limits: Sequence[Limit],
        ahead: Projection | None,
    ) -> tuple[float, float]:
        """What the upright axis covers: a probe that reads nonsense does not flatten what it read before."""
        if self._is_two_state:
            return -0.2, 1.2
        values = measured.values[measured.usable] if measured.usable.any() else measured.values
        low, high = float(values.min()), float(values.max())
        if ahead is not None:
            low, high = min(low, ahead.value), max(high, ahead.value)
        near = [one.value for one in limits]
        near += [edge for one in band for edge in (one.low, one.high)]
        return value_range(low, high, near, resolution(self._quantity, self._units))

    def _value_ticks(self, low: float, high: float) -> tuple[Tick, ...]:
        if self._is_two_state:
            return tuple(Tick(value, self._show(value)) for value in (0.0, 1.0))
        shown = self._units.of(self._quantity)
        # Round in the unit that is read.
        ticks = value_ticks(shown.of(low), shown.of(high), 10.0**-shown.decimals)
        return tuple(Tick(shown.back(value), self._show(shown.back(value))) for value in ticks)

    def _times(self) -> tuple[Tick, ...]:
        start, end = (
            datetime.fromtimestamp(at_us // MICROSECONDS, UTC).astimezone(ZoneInfo(self._zone))
            for at_us in (self._start_us, self._end_us)
        )
        step_s = wall_step_s((self._end_us - self._start_us) / MICROSECONDS, _MOST_TIMES) or 24 * 3600
        edge_us = (self._end_us - self._start_us) // 25
        found = []
        for at in wall_times(start, end, step_s):
            at_us = round(at.timestamp()) * MICROSECONDS
            if self._start_us + edge_us <= at_us <= self._end_us - edge_us:
                found.append(Tick(self._at_s(at_us), f"{at:%H:%M}"))
        return tuple(found)

    def _moments(self) -> tuple[Tick, ...]:
        at_us = self._incident.alarmed_at_us
        if not self._start_us <= at_us <= self._end_us:
            return ()
        return (Tick(self._at_s(at_us), f"alarm {clock_text(at_us, self._now_us, self._zone)}"),)

    def _changes(self, measured: _Columns) -> tuple[tuple[tuple[Point, ...], ...], tuple[Span, ...]]:
        """A state holds until the next one is told."""
        times_us, values = measured.times_us, measured.values
        changed = np.concatenate(([True], values[1:] != values[:-1]))
        points: list[Point] = []
        steps = list(zip(times_us[changed].tolist(), values[changed].tolist(), strict=True))
        for at_us, value in steps[-_MOST_CHANGES:]:
            if points:
                points.append(Point(self._at_s(at_us), points[-1].value))
            points.append(Point(self._at_s(at_us), value))
        points.append(Point(self._at_s(self._now_us), points[-1].value))
        return (tuple(points),), ()

    def _at_s(self, at_us: int) -> float:
        return (at_us - self._start_us) / MICROSECONDS

    def _show(self, value: float) -> str:
        text = display(value, self._quantity, self._units)
        return text if len(text) <= _VALUE_CHARACTERS else f"{value:.2e}"


def _points(measured: _Columns, start_us: int) -> tuple[tuple[tuple[Point, ...], ...], tuple[Span, ...]]:
    """At most `_POINTS` means with their ranges; the last one is the newest value itself."""
    times_us, values = measured.times_us - start_us, measured.values
    width_us = max(1, -(-(int(times_us[-1]) + 1) // _POINTS))
    buckets = times_us // width_us
    begins = np.flatnonzero(np.concatenate(([True], buckets[1:] != buckets[:-1])))
    counts = np.diff(np.append(begins, len(values)))
    # Each value is made smaller first, so that no sum of great ones runs over.
    means = np.add.reduceat(values / np.repeat(counts, counts), begins)
    middles_us = np.rint(np.add.reduceat(times_us, begins) / counts).astype(np.int64)
    middles_us[-1], means[-1] = times_us[-1], values[-1]
    at_s = (middles_us / MICROSECONDS).round(1)
    points = tuple(map(Point, at_s.tolist(), _short(means)))
    lows, highs = np.minimum.reduceat(values, begins), np.maximum.reduceat(values, begins)
    wide = highs > lows
    return tuple(points[run] for run in runs(middles_us)), _spans(at_s[wide], lows[wide], highs[wide])


def _spans(at_s: FloatArray, low: FloatArray, high: FloatArray) -> tuple[Span, ...]:
    return tuple(map(Span, at_s.tolist(), _short(low), _short(high)))


def _short(values: FloatArray) -> list[float]:
    """As many digits as pixels can tell apart: they go through a pipe as text."""
    return [float(f"{value:.6g}") for value in values.tolist()]


__all__ = ["Record", "UsualSource", "sketch_of"]
