"""Alarm events of one series on their way to the engine: each with its evidence and its place in order.

Evidence is what was known at the instant of the event and not a reading more, so that it, too, is the
same however the stream is cut into blocks.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from rules.alarm import Change
from rules.events import AlarmEvent, AlarmKey, AlarmRaised, AlarmReturned, Evidence, Priority
from rules.features import Features
from rules.projection import project
from rules.setup import HOUR_US, SeriesRules

# A slope is taken over the last hour; behind a longer gap it tells of another time.
_ROW_AGE_US = HOUR_US


class Staged(NamedTuple):
    """An alarm event waiting for its turn; the fields before it are its place in the order."""

    order_us: int
    sequence: int
    at_us: int
    series: int
    cause: str
    rank: int
    event: AlarmEvent


class Row(NamedTuple):
    """What evidence needs of one row of features; NaN where not known."""

    level: float
    slope: tuple[float, float, float]
    expected: tuple[float, float]


_NO_ROW = Row(math.nan, (math.nan, math.nan, math.nan), (math.nan, math.nan))


class Stage:
    """Turns changes of alarms into staged events.

    Parameters
    ----------
    index, rules
        The series.
    priorities
        Cause -> how soon a person must act; a cause that is not in it has the priority of the probe.
    """

    def __init__(self, index: int, rules: SeriesRules, priorities: Mapping[str, Priority]) -> None:
        self._index = index
        self._rules = rules
        self._priorities = priorities
        self._setpoints: dict[str, float] = {}
        self._low, self._high = rules.danger_line(is_high=False), rules.danger_line(is_high=True)
        self._staged: list[Staged] = []
        self._times_us: list[int] = []
        self._values: list[float] = []
        self._last_value = math.nan
        self._last_plausible = math.nan
        self._rows: Features | None = None
        self._last_rows: Features | None = None

    def remember(self, value: float) -> None:
        """Take over the last value of before a restart."""
        self._last_value = self._last_plausible = value

    def name_setpoint(self, cause: str, setpoint: float) -> None:
        """Tell this setpoint with alarms of that cause."""
        self._setpoints[cause] = setpoint

    def see(self, times_us: list[int], values: list[float]) -> None:
        """Keep the readings at hand that are being judged."""
        self._times_us, self._values = times_us, values

    def see_rows(self, rows: Features | None) -> None:
        """Keep the rows at hand that they closed."""
        self._rows = rows

    def finish(self, last_value: float, last_plausible: float | None) -> list[Staged]:
        """Give up what was staged, and keep of the readings only the last.

        `last_plausible` is the last value that the sensor can give, None if none of them was.
        """
        if self._rows is not None:
            self._last_rows = self._rows
        self._last_value = last_value
        if last_plausible is not None:
            self._last_plausible = last_plausible
        self._rows = None
        self._times_us, self._values = [], []
        return self.take()

    def take(self) -> list[Staged]:
        """Give up what was staged."""
        staged, self._staged = self._staged, []
        return staged

    def add(self, cause: str, changes: Iterable[Change]) -> None:
        """Stage what readings or the clock showed, with what was known just before."""
        for change in changes:
            row = _NO_ROW if cause.startswith("probe_") else self._row_at(change.known_us)
            self._add(cause, change, self._value_at(change.known_us, cause), row)

    def add_rows(self, cause: str, changes: Iterable[Change], reasons: tuple[str, ...] = ()) -> None:
        """Stage what rows of features showed, each with the newest row that was known by then."""
        for change in changes:
            row = self._row_at(change.known_us)
            self._add(cause, change, row.level, row, reasons)

    def _value_at(self, known_us: int, cause: str) -> float:
        """The value that was known then; for the water's alarms only what the sensor can give."""
        position = bisect_right(self._times_us, known_us) - 1
        if position >= 0:
            return self._values[position]
        return self._last_value if cause.startswith("probe_") else self._last_plausible

    def _row_at(self, known_us: int) -> Row:
        """The newest row that was closed by a reading at or before `known_us`, unless it is too old."""
        rows, position = self._last_rows, -1
        if self._rows is not None:
            found = int(np.searchsorted(self._rows.times_us, known_us, side="right")) - 1
            if found >= 0:
                rows, position = self._rows, found
        if rows is None or known_us - int(rows.times_us[position]) > _ROW_AGE_US:
            return _NO_ROW
        return _row(rows, position)

    def _add(self, cause: str, change: Change, value: float, row: Row, reasons: tuple[str, ...] = ()) -> None:
        rules = self._rules
        key = AlarmKey(rules.tank, rules.name, cause)
        event: AlarmEvent
        if change.is_raised:
            event = AlarmRaised(
                at_us=change.at_us,
                alarm=key,
                priority=self._priorities.get(cause, rules.probe_priority),
                first_evidence_us=change.since_us,
                concerns=(rules.name,),
                evidence=self._evidence(cause, change, value, row, reasons),
            )
        else:
            event = AlarmReturned(change.at_us, key, value)
        self._staged.append(
            Staged(
                change.order_us, change.sequence, change.at_us, self._index, cause, change.is_raised, event
            )
        )

    def _evidence(
        self, cause: str, change: Change, value: float, row: Row, reasons: tuple[str, ...]
    ) -> Evidence:
        projection = project(change.at_us, value, row.slope, self._low, self._high)
        return Evidence(
            value=value,
            limit=self._setpoints.get(cause),
            expected_low=_finite(row.expected[0]),
            expected_high=_finite(row.expected[1]),
            rate_per_hour=_finite(row.slope[0]),
            since_us=change.since_us,
            danger=None if projection is None else projection.danger,
            danger_at_us=None if projection is None else projection.at_us,
            danger_earliest_us=None if projection is None else projection.earliest_us,
            danger_latest_us=None if projection is None else projection.latest_us,
            reasons=reasons,
        )


def _row(features: Features, position: int) -> Row:
    slope = features.slope
    return Row(
        float(features.level[position]),
        (float(slope.median[position]), float(slope.low[position]), float(slope.high[position])),
        (float(features.expected[0][position]), float(features.expected[1][position])),
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
