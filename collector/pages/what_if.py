"""What if a limit of a series were another: which alarms of a recorded stretch would appear or be gone.

The engine judges the readings of the one series anew, with its own deadband and delays, as it is and with
the limits that are tried. Faults, which look at several series, and what was learned are left out of both.
"""

from __future__ import annotations

import itertools
import math
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from starlette.exceptions import HTTPException

from collector.display_units import CANONICAL
from collector.pages.drawing import Chart, draw
from collector.pages.history import CHART_BUCKETS
from collector.pages.labels import Labels, SeriesLabel
from collector.pages.lanes import Bar, Lane, bar
from collector.pages.moments import full
from collector.pages.record import Readings, Record
from collector.pages.spans import Link, Span
from collector.pages.usual import usual_over
from collector.wording.times import duration_text
from rules import (
    HOUR_US,
    QUANTITIES,
    AlarmRaised,
    AlarmReturned,
    Block,
    Engine,
    EngineRules,
    Event,
    Keeper,
    LimitAlarm,
    PlannedWork,
    Reruns,
    SeriesRules,
    TankRules,
    but_limits,
)

# Judged while somebody waits, and beside the service: so many days of a reading every 10 s take half a second
# (`tests/bench/history_page.py`), and a month would take two. `brinebell tune` has no such bound.
MOST_US = 8 * 24 * HOUR_US
_USUAL_US = 7 * 24 * HOUR_US
_CAUSES = frozenset({"under_limit", "over_limit", "under_danger_line", "over_danger_line"})
# A slider has about as many places as a finger can find on a phone.
_PLACES = 200


class Alarm(NamedTuple):
    """An alarm from its beginning to its end, None where it lasts."""

    cause: str
    raised_us: int
    returned_us: int | None

    def meets(self, other: Alarm) -> bool:
        """Whether both are about the same thing at the same time."""
        end_us, other_end_us = (
            2**62 if one.returned_us is None else one.returned_us for one in (self, other)
        )
        return self.cause == other.cause and self.raised_us <= other_end_us and other.raised_us <= end_us


class Kept:
    """What was judged last, so that another limit over the same stretch costs next to nothing.

    What no limit changes is gone through once; a danger line that is moved costs a pass of its own.
    """

    def __init__(self) -> None:
        self._passes: list[tuple[object, Reruns]] = []
        self._lock = threading.Lock()

    def judge(self, stretch: Stretch, rules: SeriesRules) -> list[Alarm]:
        """The alarms of a series' limits in a stretch, by the engine; none that planned work suppresses."""
        # Silence tells of no limit, and needs a clock.
        engine_rules = EngineRules(
            (TankRules(rules.tank, stretch.span.time_zone),), (replace(rules, gap=None),)
        )
        key = (stretch.key, but_limits(engine_rules))
        with self._lock:
            reruns = next((one for known, one in self._passes if known == key), None)
            if reruns is None:
                reruns = Reruns(_gone_through(engine_rules, stretch).blocks)
                # As it is, and one with other danger lines; what lacks something is asked for anew.
                if not stretch.lack:
                    self._passes = [*self._passes[-1:], (key, reruns)]
            return _alarms(event for one in reruns.run(engine_rules) for event in one.events)


class Stretch:
    """A stretch of one series, whose readings are fetched once, when they are needed.

    Parameters
    ----------
    series
        Its id.
    span, works
        From when to when, and what work was done meanwhile.
    count
        How many readings the chart has: one more, and what was judged before is judged anew.
    record
        Where they are.
    """

    def __init__(
        self, series: int, span: Span, works: tuple[PlannedWork, ...], count: int, record: Record
    ) -> None:
        self._record, self.series, self.span, self.works = record, series, span, works
        self.key = (series, span, works, count)
        self._fetched: tuple[Readings, str] | None = None

    @property
    def readings(self) -> Readings:
        """All of it that there is."""
        if self._fetched is None:
            self._fetched = self._record.all_readings(self.series, self.span.start_us, self.span.end_us)
        return self._fetched[0]

    @property
    def lack(self) -> str:
        """What is missing, as far as is known; "" for nothing."""
        return "" if self._fetched is None else self._fetched[1]


@dataclass(frozen=True, slots=True)
class Tried:
    """A limit that can be moved: its key in the configuration, words, value, and what a slider covers."""

    key: str
    words: str
    value: float
    was: float
    low: float
    high: float
    step: float

    @property
    def is_changed(self) -> bool:
        """Whether another value than that of the configuration is tried."""
        return self.value != self.was


@dataclass(frozen=True, slots=True)
class Change:
    """An alarm that appears or is gone, in words."""

    what: str
    cause: str
    start: str
    lasted: str


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What the page shows; `patch` and `command` are empty if nothing is changed, `lack` if all is there."""

    label: SeriesLabel
    tank_title: str
    span: Span
    links: tuple[Link, ...]
    tried: tuple[Tried, ...]
    unit: str
    sentence: str
    chart: Chart
    lanes: tuple[Lane, ...]
    changes: tuple[Change, ...]
    patch: str
    command: str
    lack: str


def what_if(
    record: Record,
    labels: Labels,
    label: SeriesLabel,
    now_us: int,
    span: Span | None,
    query: Mapping[str, str],
    kept: Kept,
) -> WhatIf:
    """Try the limits that an address names; KeyError for a series that was never stored.

    What is tried goes into the configuration, so it is read and shown in the canonical unit.

    Raises
    ------
    HTTPException
        400 that says what cannot be tried, and why.
    """
    label = replace(label, units=CANONICAL)
    zone = labels.time_zone(label.tank)
    span = Span(now_us - _USUAL_US, now_us + 1, zone) if span is None else span
    if span.width_us > MOST_US:
        raise HTTPException(400, "That is more than 8 days: try a shorter stretch, or `brinebell tune`.")
    if label.rules is None or label.is_two_state or not label.rules.limit_alarms:
        raise HTTPException(404, f"{label.title} has no limit that could be moved.")
    series = record.series_id(label.tank, label.name)
    buckets, lack = record.chart(series, span.start_us, span.end_us, CHART_BUCKETS)
    seen = [value for value in (*buckets.low.tolist(), *buckets.high.tolist()) if math.isfinite(value)]
    tried = tuple(_tried(one, label, seen, query) for one in label.rules.limit_alarms)
    rules = replace(
        label.rules,
        limit_alarms=tuple(
            replace(one, setpoint=other.value)
            for one, other in zip(label.rules.limit_alarms, tried, strict=True)
        ),
    )
    _check(rules.limit_alarms)
    works = tuple(record.works(label.tank, span.start_us, span.end_us))
    stretch = Stretch(series, span, works, int(buckets.counts.sum()), record)
    before = kept.judge(stretch, label.rules)
    after = kept.judge(stretch, rules) if rules != label.rules else before
    gone = [one for one in before if not any(one.meets(other) for other in after)]
    new = [one for one in after if not any(one.meets(other) for other in before)]
    changed = [one for one in tried if one.is_changed]
    return WhatIf(
        label=label,
        tank_title=labels.tank_title(label.tank),
        span=span,
        links=span.links({one.key: f"{one.value:g}" for one in changed}),
        tried=tried,
        unit=label.show(0.0).partition(" ")[2],
        sentence=_sentence(before, after, gone, new, is_changed=bool(changed)),
        chart=draw(
            replace(label, rules=rules),
            buckets,
            span.start_us,
            span.end_us,
            zone,
            usual=usual_over(record, series, span),
            earlier=label if changed else None,
        ),
        lanes=(
            _lane("Alarms as it is", before, labels, span),
            *([_lane("Alarms with the limits tried", after, labels, span)] if changed else []),
        ),
        changes=tuple(
            _change(what, one, labels, zone)
            for what, one in sorted(
                [*(("gone", one) for one in gone), *(("new", one) for one in new)], key=_when
            )
        ),
        patch=_patch(label, changed),
        command=_command(label, changed),
        lack=stretch.lack or lack,
    )


def _gone_through(rules: EngineRules, stretch: Stretch) -> Keeper:
    """What the engine makes of the readings whatever the limits are."""
    readings = stretch.readings
    keeper = Keeper()
    engine = Engine(rules, keeper=keeper)
    engine.plan_work(stretch.works)
    index = np.zeros(len(readings.times_us), np.int64)
    engine.advance(Block(readings.times_us, readings.values, index))
    if len(readings.times_us):
        # What the last readings showed is known only when the allowance has passed.
        engine.advance_to(int(readings.times_us[-1]) + rules.allowance_us)
    return keeper


def _alarms(events: Iterable[Event]) -> list[Alarm]:
    found: list[Alarm] = []
    active: dict[str, int] = {}
    for event in events:
        if isinstance(event, AlarmRaised) and event.alarm.cause in _CAUSES:
            active[event.alarm.cause] = event.at_us
        elif isinstance(event, AlarmReturned) and event.alarm.cause in active:
            found.append(Alarm(event.alarm.cause, active.pop(event.alarm.cause), event.at_us))
    found += [Alarm(cause, raised_us, None) for cause, raised_us in active.items()]
    return sorted(found, key=lambda one: one.raised_us)


def key_of(alarm: LimitAlarm) -> str:
    """The key of a limit in the configuration."""
    return f"{'danger' if alarm.is_danger else 'alarm'}_{'high' if alarm.is_high else 'low'}"


def _tried(alarm: LimitAlarm, label: SeriesLabel, seen: Sequence[float], query: Mapping[str, str]) -> Tried:
    key = key_of(alarm)
    text = query.get(key, "").strip().replace(",", ".")
    try:
        value = float(text) if text else alarm.setpoint
    except ValueError:
        value = math.nan
    if not abs(value) < 1e9:
        raise HTTPException(400, f"{key}={text[:40]} is no number.")
    low, high = min([*seen, alarm.setpoint, value]), max([*seen, alarm.setpoint, value])
    room = max(0.25 * (high - low), 5 * label.resolution)
    step = max(label.resolution, 10.0 ** math.ceil(math.log10((high - low + 2 * room) / _PLACES)))
    name = "danger line" if alarm.is_danger else "over limit" if alarm.is_high else "under limit"
    side = (" above" if alarm.is_high else " below") if alarm.is_danger else ""
    return Tried(
        key,
        f"{name}{side}",
        value,
        alarm.setpoint,
        round(math.floor((low - room) / step) * step, 6),
        round(math.ceil((high + room) / step) * step, 6),
        step,
    )


def _check(alarms: Sequence[LimitAlarm]) -> None:
    """Refuse limits that the configuration would refuse: those below are in order below those above."""
    by_key = {key_of(one): one.setpoint for one in alarms}
    order = [key for key in ("danger_low", "alarm_low", "alarm_high", "danger_high") if key in by_key]
    for lower, upper in itertools.pairwise(order):
        if by_key[lower] >= by_key[upper]:
            raise HTTPException(
                400,
                f"{lower} = {by_key[lower]:g} must be below {upper} = {by_key[upper]:g}: move one of them.",
            )


def _sentence(
    before: Sequence[Alarm],
    after: Sequence[Alarm],
    gone: Sequence[Alarm],
    new: Sequence[Alarm],
    *,
    is_changed: bool,
) -> str:
    if not is_changed:
        return f"{_count(len(before))} as it is. Move a limit to see what would change."
    if not gone and not new:
        earlier = [one.raised_us - other.raised_us for one in before for other in after if one.meets(other)]
        moved = [one for one in earlier if abs(one) >= HOUR_US // 60]
        if not moved:
            return f"Nothing changes: {_count(len(after))}, as it is."
        most = max(moved, key=abs)
        return (
            f"The same {_count(len(after))}, up to {duration_text(abs(most))} "
            f"{'earlier' if most > 0 else 'later'}."
        )
    return f"{_count(len(after))} instead of {len(before)}: {len(gone)} gone, {len(new)} new."


def _count(number: int) -> str:
    return f"{number} alarm{'' if number == 1 else 's'}"


def _lane(title: str, alarms: Sequence[Alarm], labels: Labels, span: Span) -> Lane:
    bars: list[Bar] = [
        bar(
            one.raised_us,
            span.end_us if one.returned_us is None else one.returned_us,
            "full",
            labels.cause(one.cause),
            span,
        )
        for one in alarms
    ]
    return Lane(f"{title}: {len(alarms)}", tuple(bars))


def _when(change: tuple[str, Alarm]) -> int:
    return change[1].raised_us


def _change(what: str, alarm: Alarm, labels: Labels, zone: str) -> Change:
    lasted = "lasts" if alarm.returned_us is None else duration_text(alarm.returned_us - alarm.raised_us)
    return Change(what, labels.cause(alarm.cause), full(alarm.raised_us, zone), lasted)


def _patch(label: SeriesLabel, changed: Sequence[Tried]) -> str:
    if not changed:
        return ""
    lines = [f"[tanks.{label.tank}.series.{label.name}]"]
    lines += [
        f'{one.key} = "{_written(one.value, label)}"  # it was {_written(one.was, label)}' for one in changed
    ]
    return "\n".join(lines)


def _command(label: SeriesLabel, changed: Sequence[Tried]) -> str:
    if not changed:
        return ""
    tries = " ".join(
        f"--try 'tanks.{label.tank}.series.{label.name}.{one.key}="
        f"{_written(one.was, label)}, {_written(one.value, label)}'"
        for one in changed
    )
    return f"brinebell tune --config brinebell.toml {tries}"


def _written(value: float, label: SeriesLabel) -> str:
    unit = "" if label.quantity is None else QUANTITIES[label.quantity] or ""
    return f"{value:g} {unit}".strip()
