"""Lanes under the charts, on the same axis of time: states of alarms, messages, answers, planned work.

What a bar or a mark means is said by its lane, its shape and its words, never by a colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from collector.pages.happened import Recorded, alarm_name
from collector.pages.labels import Labels
from collector.pages.moments import full, local
from collector.pages.spans import Span
from rules import AlarmKey, AlarmRaised, AlarmState, Incident, PlannedWork

# Shapes of bars, classes of the style sheet.
_SHAPES: Mapping[AlarmState, str] = {
    AlarmState.UNACKNOWLEDGED: "full",
    AlarmState.LATCHED_UNACKNOWLEDGED: "full",
    AlarmState.ACKNOWLEDGED: "open",
    AlarmState.LATCHED: "open",
    AlarmState.RETURNED_UNACKNOWLEDGED: "thin",
    AlarmState.SHELVED: "dashed",
    AlarmState.SUPPRESSED: "dotted",
    AlarmState.OUT_OF_SERVICE: "dotted",
}
# A bar that is no wider cannot be seen.
_LEAST_PERCENT = 0.4


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch of time: place and width in per cent, its shape, and its words."""

    at: float
    width: float
    shape: str
    words: str


@dataclass(frozen=True, slots=True)
class Mark:
    """An instant: its place in per cent, its shape, and its words."""

    at: float
    shape: str
    words: str


@dataclass(frozen=True, slots=True)
class Lane:
    """A lane with its title; `words` say all that is in it."""

    title: str
    bars: tuple[Bar, ...] = ()
    marks: tuple[Mark, ...] = ()

    @property
    def words(self) -> str:
        """All that is in it."""
        words = [*(one.words for one in self.bars), *(one.words for one in self.marks)]
        return f"{self.title}: {'; '.join(words)}."


def lanes_of(recorded: Recorded, labels: Labels, span: Span, now_us: int) -> tuple[Lane, ...]:
    """The lanes of an incident up to now; one without anything in the span is left out."""
    incident = recorded.incident
    found = []
    for key in incident.alarms:
        steps = [(one.at_us, one.life.state) for one in recorded.lives if one.alarm == key]
        bars = _bars(steps or _without_lives(recorded, key), span, now_us)
        if bars:
            name = alarm_name(key, labels)
            found.append(Lane(name[:1].upper() + name[1:], bars))
    tries = [
        (tried.started_us, "filled" if tried.outcome == "delivered" else "crossed", f"{whom} {told}")
        for one in recorded.deliveries
        for tried in one.tries
        for whom, told in ((one.message.person, tried.outcome or "running"),)
    ]
    answers = [
        (one.at_us, "filled", f"{one.step}{f' by {one.who}' if one.who else ''}")
        for one in recorded.lives
        if one.who
    ]
    notes = [
        (one.at_us, "filled", f"note by {one.who}" if one.who else "note")
        for one in recorded.notes
        if one.struck_us is None
    ]
    found += _marked("Messages: a dot arrived, a cross did not", tries, span)
    found += _marked("Answers", answers, span)
    found += _marked("Notes", notes, span)
    found += work_lane(recorded.works, span)
    return tuple(found)


def work_lane(works: Iterable[PlannedWork], span: Span) -> list[Lane]:
    """Planned works of a span, as one lane; no lane where there are none."""
    bars = [
        bar(one.from_us, one.to_us, "open", one.kind.replace("_", " "), span)
        for one in works
        if one.from_us < span.end_us and one.to_us > span.start_us
    ]
    return [Lane("Planned work", tuple(bars))] if bars else []


def incident_lane(incidents: Sequence[Incident], labels: Labels, span: Span, now_us: int) -> list[Lane]:
    """Incidents of a span up to now, as one lane; no lane where there are none."""
    bars = [
        bar(
            min(one.first_evidence_us, one.alarmed_at_us),
            now_us if one.ended_at_us is None else one.ended_at_us,
            "full",
            f"{one.number}, {labels.cause(one.cause)}",
            span,
            lasts=one.ended_at_us is None,
        )
        for one in incidents
    ]
    return [Lane("Incidents", tuple(bars))] if bars else []


def _marked(title: str, found: Sequence[tuple[int, str, str]], span: Span) -> list[Lane]:
    marks = tuple(
        Mark(_percent(at_us, span), shape, f"{words} at {_at(at_us, span)}")
        for at_us, shape, words in found
        if span.start_us <= at_us <= span.end_us
    )
    return [Lane(title, marks=marks)] if marks else []


def _without_lives(recorded: Recorded, key: AlarmKey) -> list[tuple[int, AlarmState]]:
    """States of an alarm of which a version told that kept no lives."""
    states = (AlarmState.RETURNED_UNACKNOWLEDGED, AlarmState.UNACKNOWLEDGED)
    return [(one.at_us, states[isinstance(one, AlarmRaised)]) for one in recorded.events if one.alarm == key]


def _bars(steps: Sequence[tuple[int, AlarmState]], span: Span, now_us: int) -> tuple[Bar, ...]:
    found = []
    ends = [*(at_us for at_us, _ in steps[1:]), now_us][: len(steps)]
    for (at_us, state), end_us in zip(steps, ends, strict=True):
        shape = _SHAPES.get(state)
        if shape is not None and at_us < span.end_us and end_us > span.start_us and end_us > at_us:
            found.append(bar(at_us, end_us, shape, state.value, span, lasts=end_us == now_us))
    return tuple(found)


def bar(from_us: int, to_us: int, shape: str, words: str, span: Span, *, lasts: bool = False) -> Bar:
    """A stretch of time as a bar, as far as it lies in a span; one that still lasts has no end in words."""
    first, last = (min(max(_percent(at_us, span), 0.0), 100.0) for at_us in (from_us, to_us))
    until = "" if lasts or to_us >= span.end_us else f" to {_at(to_us, span)}"
    return Bar(
        first, max(round(last - first, 2), _LEAST_PERCENT), shape, f"{words} from {_at(from_us, span)}{until}"
    )


def _percent(at_us: int, span: Span) -> float:
    return round(100.0 * (at_us - span.start_us) / span.width_us, 2)


def _at(at_us: int, span: Span) -> str:
    """Short where a day is clear."""
    if span.width_us < 24 * 3600 * 1_000_000:
        return f"{local(at_us, span.time_zone):%H:%M}"
    return full(at_us, span.time_zone)
