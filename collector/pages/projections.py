"""What was projected when an alarm was raised, and what came: drawn, and told in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from collector.pages.drawing import Ahead
from collector.pages.labels import SeriesLabel
from collector.pages.moments import day_and_clock
from collector.pages.record import Record
from collector.wording.times import duration_text
from rules import AlarmEvent, AlarmRaised, Evidence, Flag

# Who rang once knows as much from the first of several alarms that project the same.
_MOST = 3


class Projection(NamedTuple):
    """A projection to draw, and the sentence about it."""

    ahead: Ahead
    words: str


def projections_of(
    record: Record,
    series: int,
    label: SeriesLabel,
    events: Iterable[AlarmEvent],
    until_us: int,
    zone: str,
) -> tuple[Projection, ...]:
    """What alarms about a series projected, held against its readings up to an instant."""
    found = []
    for event in events:
        if not isinstance(event, AlarmRaised) or (event.concerns or (event.alarm.series,))[0] != label.name:
            continue
        ahead = _ahead(event.at_us, event.evidence)
        if ahead is not None:
            found.append(Projection(ahead, _words(record, series, label, ahead, until_us, zone)))
    return tuple(found[:_MOST])


def _ahead(at_us: int, evidence: Evidence) -> Ahead | None:
    value, danger, danger_at_us = evidence.value, evidence.danger, evidence.danger_at_us
    if value is None or danger is None or danger_at_us is None or danger_at_us <= at_us:
        return None
    earliest_us, latest_us = evidence.danger_earliest_us, evidence.danger_latest_us
    return Ahead(
        at_us,
        value,
        danger_at_us,
        danger,
        danger_at_us if earliest_us is None else earliest_us,
        danger_at_us if latest_us is None else latest_us,
    )


def _words(record: Record, series: int, label: SeriesLabel, ahead: Ahead, until_us: int, zone: str) -> str:
    at, told, first, last = (
        day_and_clock(at_us, ahead.from_us, zone)
        for at_us in (ahead.from_us, ahead.at_us, ahead.earliest_us, ahead.latest_us)
    )
    between = "" if ahead.earliest_us == ahead.latest_us else f", between {first} and {last}"
    said = f"At {at} the danger line {label.show(ahead.reached)} was projected for about {told}{between}."
    return f"{said} {_what_came(record, series, label, ahead, until_us, zone)}"


def _what_came(
    record: Record, series: int, label: SeriesLabel, ahead: Ahead, until_us: int, zone: str
) -> str:
    # Beyond the projection by half of it: what came later than that did not come as projected.
    last_us = min(until_us, ahead.latest_us + (ahead.latest_us - ahead.from_us) // 2)
    readings, lack = record.all_readings(series, ahead.from_us, last_us + 1)
    if lack:
        return f"What came cannot be told. {lack}."
    usable = np.isfinite(readings.values) & (readings.flags != int(Flag.FAIL))
    times_us, values = readings.times_us[usable], readings.values[usable]
    if not len(times_us):
        return "No usable reading came after it."
    is_low = ahead.reached < ahead.value
    reached = np.flatnonzero(values <= ahead.reached if is_low else values >= ahead.reached)
    if len(reached):
        at_us = int(times_us[reached[0]])
        off_us = at_us - ahead.at_us
        how = (
            "as projected"
            if abs(off_us) < 60_000_000
            else (f"{duration_text(abs(off_us))} {'later' if off_us > 0 else 'earlier'} than that")
        )
        return f"It came at {day_and_clock(at_us, ahead.from_us, zone)}, {how}."
    nearest = int(np.argmin(values) if is_low else np.argmax(values))
    name = "lowest" if is_low else "highest"
    so_far = " so far" if last_us >= until_us else ""
    return (
        f"It did not come{so_far}: the {name} was {label.show(float(values[nearest]))} at "
        f"{day_and_clock(int(times_us[nearest]), ahead.from_us, zone)}."
    )


def sentences(found: Sequence[Projection]) -> tuple[str, ...]:
    """The sentences alone, each once."""
    return tuple(dict.fromkeys(one.words for one in found))
