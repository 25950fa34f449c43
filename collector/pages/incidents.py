"""What happened: the list of incidents, and the story of one.

An incident's page shows what a person was told, what it was based on, the concerned series around it,
each alarm's changes, and each try to tell somebody.
"""

from __future__ import annotations

from dataclasses import dataclass

from collector.pages.drawing import Chart, draw, limit_words
from collector.pages.history import CHART_BUCKETS
from collector.pages.labels import Labels, SeriesLabel
from collector.pages.moments import day_and_clock, full, rfc3339
from collector.pages.record import Delivery, IncidentRecord, Record
from collector.wording.answers import state_text
from collector.wording.deliveries import STATES
from collector.wording.evidence import reason_lines, rival_lines
from collector.wording.times import duration_text
from rules import CAUSES, HOUR_US, TWO_STATE, AlarmRaised, Incident

# What the tank looked like before and after, even if the incident was short.
_LEAST_AROUND_US = HOUR_US
# More charts than this make no page that somebody reads.
_MOST_CHARTS = 6


@dataclass(frozen=True, slots=True)
class Instant:
    """An instant in the tank's time, and for machines."""

    text: str
    machine: str


@dataclass(frozen=True, slots=True)
class IncidentRow:
    """One line of the list."""

    number: int
    cause: str
    tank: str
    series: str
    start: Instant
    duration: str
    priority: str
    state: str


@dataclass(frozen=True, slots=True)
class EventRow:
    """An alarm raised or returned to normal."""

    at: Instant
    what: str
    series: str
    change: str
    value: str


@dataclass(frozen=True, slots=True)
class TryRow:
    """One try to send a message."""

    started: Instant
    outcome: str
    reason: str


@dataclass(frozen=True, slots=True)
class DeliveryRow:
    """A message: to whom, over what, where it stands."""

    created: Instant
    kind: str
    person: str
    channel: str
    state: str
    tries: tuple[TryRow, ...]


@dataclass(frozen=True, slots=True)
class Story:
    """The page of one incident; `facts` and `evidence` are pairs of name and text."""

    row: IncidentRow
    title: str
    body: str
    time_zone: str
    watches: str
    facts: tuple[tuple[str, str], ...]
    evidence: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]
    rivals: tuple[str, ...]
    charts: tuple[tuple[Chart, str], ...]
    events: tuple[EventRow, ...]
    deliveries: tuple[DeliveryRow, ...]


def incident_rows(record: Record, labels: Labels, last: int, now_us: int) -> tuple[IncidentRow, ...]:
    """The newest incidents, newest first."""
    return tuple(incident_row(one, labels, now_us) for one in record.incidents(last))


def story_of(record: Record, labels: Labels, number: int, now_us: int) -> Story:
    """Everything about one incident; KeyError if there is none of that number."""
    history = record.incident(number)
    incident = history.record.incident
    zone = labels.time_zone(incident.tank)
    first = labels.series(incident.tank, incident.series[0] if incident.series else "")
    cause = CAUSES.get(incident.cause)
    events = []
    for event in history.events:
        label = labels.series(event.alarm.tank, event.alarm.series)
        is_raised = isinstance(event, AlarmRaised)
        value = event.evidence.value if isinstance(event, AlarmRaised) else event.value
        priority = f", {event.priority}" if isinstance(event, AlarmRaised) else ""
        events.append(
            EventRow(
                _instant(event.at_us, zone),
                labels.cause(event.alarm.cause),
                label.title,
                f"raised{priority}" if is_raised else "returned to normal",
                "" if value is None else label.show(value),
            )
        )
    return Story(
        row=incident_row(history.record, labels, now_us),
        title=history.record.title,
        body=history.record.body,
        time_zone=zone,
        watches="" if cause is None else cause.watches,
        facts=_facts(incident, labels, zone),
        evidence=_evidence(incident, first, zone),
        reasons=tuple(reason_lines(incident.evidence, incident.tank, labels.configuration)),
        rivals=tuple(rival_lines(incident.evidence, incident.cause)),
        charts=tuple(_charts(record, incident, labels, zone, now_us)),
        events=tuple(events),
        deliveries=tuple(_delivery(one, zone) for one in record.deliveries(number)),
    )


def incident_row(record: IncidentRecord, labels: Labels, now_us: int) -> IncidentRow:
    """One incident as a line."""
    incident = record.incident
    ended_us = incident.ended_at_us
    lasted_us = (now_us if ended_us is None else ended_us) - incident.first_evidence_us
    return IncidentRow(
        number=incident.number,
        cause=labels.cause(incident.cause),
        tank=labels.tank_title(incident.tank),
        series=", ".join(labels.series(incident.tank, name).title for name in incident.series),
        start=Instant(
            full(incident.first_evidence_us, labels.time_zone(incident.tank)),
            rfc3339(incident.first_evidence_us),
        ),
        duration=duration_text(max(0, lasted_us)) + (" so far" if ended_us is None else ""),
        priority=str(incident.priority),
        state=state_text(
            record.answer,
            is_over=ended_us is not None,
            now_us=now_us,
            zone=labels.time_zone(incident.tank),
        ),
    )


def _facts(incident: Incident, labels: Labels, zone: str) -> tuple[tuple[str, str], ...]:
    end = "not yet" if incident.ended_at_us is None else full(incident.ended_at_us, zone, seconds=True)
    late_us = max(0, incident.alarmed_at_us - incident.first_evidence_us)
    return (
        ("Incident", f"number {incident.number}"),
        ("Cause", labels.cause(incident.cause)),
        ("Tank", labels.tank_title(incident.tank)),
        ("Series", ", ".join(labels.series(incident.tank, name).title for name in incident.series)),
        ("Priority", str(incident.priority)),
        ("First evidence", full(incident.first_evidence_us, zone, seconds=True)),
        ("Alarm", f"{full(incident.alarmed_at_us, zone, seconds=True)}, {duration_text(late_us)} later"),
        ("Returned to normal", end),
    )


def _evidence(incident: Incident, label: SeriesLabel, zone: str) -> tuple[tuple[str, str], ...]:
    evidence, found = incident.evidence, []
    if evidence.value is not None:
        found.append(("Value", label.show(evidence.value)))
    if evidence.limit is not None and label.quantity not in TWO_STATE:
        name = "Danger line" if "danger" in incident.cause else "Limit"
        found.append((name, label.show(evidence.limit)))
    if evidence.expected_low is not None and evidence.expected_high is not None:
        usual = f"{label.show(evidence.expected_low)} to {label.show(evidence.expected_high)}"
        found.append(("Usual at this hour", usual))
    if evidence.rate_per_hour is not None:
        word = "rising" if evidence.rate_per_hour > 0 else "falling"
        found.append(("Trend", f"{word} {label.show_rate(abs(evidence.rate_per_hour))}"))
    if evidence.since_us is not None:
        found.append(("Since", full(evidence.since_us, zone)))
    if evidence.danger is not None:
        found.append(("Danger line", label.show(evidence.danger)))
    if evidence.danger_at_us is not None:
        text = f"about {day_and_clock(evidence.danger_at_us, incident.alarmed_at_us, zone)}"
        if evidence.danger_earliest_us is not None and evidence.danger_latest_us is not None:
            earliest, latest = (
                day_and_clock(at_us, incident.alarmed_at_us, zone)
                for at_us in (evidence.danger_earliest_us, evidence.danger_latest_us)
            )
            text += f", between {earliest} and {latest}"
        found.append(("Danger, as projected then", text))
    if evidence.confidence is not None:
        found.append(("Confidence", f"{100 * evidence.confidence:.0f} %"))
    return tuple(found)


def _charts(
    record: Record, incident: Incident, labels: Labels, zone: str, now_us: int
) -> list[tuple[Chart, str]]:
    """The concerned series from some time before the first evidence to some time after the end."""
    last_us = now_us if incident.ended_at_us is None else incident.ended_at_us
    first_us = min(incident.first_evidence_us, incident.alarmed_at_us)
    around_us = max(_LEAST_AROUND_US, (last_us - first_us) // 2)
    start_us = first_us - around_us
    end_us = max(min(last_us + around_us, now_us), last_us) + 1
    moments = [
        (incident.first_evidence_us, "first evidence", "evidence"),
        (incident.alarmed_at_us, "alarm", "alarm"),
    ]
    if incident.ended_at_us is not None:
        moments.append((incident.ended_at_us, "returned to normal", "end"))
    charts = []
    for name in incident.series[:_MOST_CHARTS]:
        label = labels.series(incident.tank, name)
        try:
            series = record.series_id(incident.tank, name)
        except KeyError:
            continue
        buckets = record.buckets(series, start_us, end_us, CHART_BUCKETS)
        chart = draw(label, buckets, start_us, end_us, zone, moments=moments)
        charts.append((chart, limit_words(label)))
    return charts


def _delivery(delivery: Delivery, zone: str) -> DeliveryRow:
    message = delivery.message
    return DeliveryRow(
        created=_instant(message.created_us, zone),
        kind=message.kind,
        person=message.person,
        channel=message.channel,
        state=STATES.get(delivery.state, delivery.state),
        tries=tuple(
            TryRow(_instant(one.started_us, zone), one.outcome or "running", one.reason or "")
            for one in delivery.tries
        ),
    )


def _instant(at_us: int, zone: str) -> Instant:
    return Instant(full(at_us, zone, seconds=True), rfc3339(at_us))
