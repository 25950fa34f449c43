"""The story of one incident: what was told and why, what was measured around it, and all that happened.

Charts, lanes and the list of happenings cover the same stretch of time, so that they line up.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from collector.alarm_record import LifeChange
from collector.pages.before import Before, before
from collector.pages.drawing import Chart, draw, limit_words
from collector.pages.happened import Happening, Recorded, happenings
from collector.pages.history import CHART_BUCKETS
from collector.pages.incidents import IncidentRow, Instant, incident_row, incident_rows, instant
from collector.pages.labels import Labels, SeriesLabel
from collector.pages.lanes import Lane, lanes_of
from collector.pages.moments import day_and_clock, full
from collector.pages.projections import projections_of, sentences
from collector.pages.record import IncidentHistory, Record
from collector.pages.spans import Link, Span
from collector.pages.usual import usual_over
from collector.reviews import Verdict, Wanted
from collector.wording.evidence import reason_lines, rival_lines
from collector.wording.times import duration_text
from rules import CAUSES, HOUR_US, TWO_STATE, AlarmKey, AlarmRaised, Incident

# What the tank looked like before and after, even if the incident was short.
_LEAST_AROUND_US = HOUR_US
# More charts than this make no page that somebody reads.
_MOST_CHARTS = 6
_SIMILAR = 5
_LOOKED_AT = 200
# An answer that comes later than this has nothing to do with it.
_AFTERWARDS_US = 7 * 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class SeriesStory:
    """A concerned series: its chart, its limits in words, and what was projected against what came.

    `lack` is what is missing on the chart.
    """

    chart: Chart
    limits: str
    projections: tuple[str, ...]
    lack: str


@dataclass(frozen=True, slots=True)
class HappeningRow:
    """A line of the list of happenings; `note` is the number of a note that can be struck."""

    at: Instant
    kind: str
    what: str
    detail: str
    who: str
    note: int | None = None
    is_struck: bool = False


@dataclass(frozen=True, slots=True)
class Similar:
    """An earlier incident that resembles this one, and how."""

    row: IncidentRow
    how: str


@dataclass(frozen=True, slots=True)
class Story:
    """The page of one incident; `facts` and `evidence` are pairs of name and text."""

    incident: Incident
    row: IncidentRow
    title: str
    body: str
    time_zone: str
    watches: str
    facts: tuple[tuple[str, str], ...]
    evidence: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]
    rivals: tuple[str, ...]
    span: Span
    links: tuple[Link, ...]
    series: tuple[SeriesStory, ...]
    lanes: tuple[Lane, ...]
    happened: tuple[HappeningRow, ...]
    before: Before
    similar: tuple[Similar, ...]
    verdict: Verdict | None

    @property
    def was_told(self) -> bool:
        """Whether any message was written about it."""
        return any(one.kind == "message" for one in self.happened)

    @property
    def lack(self) -> str:
        """What is missing on its charts; "" for nothing."""
        return next((one.lack for one in self.series if one.lack), "")


def story_of(record: Record, labels: Labels, number: int, now_us: int, wanted: Span | None = None) -> Story:
    """Everything about one incident; KeyError if there is none of that number.

    `wanted` is the stretch that charts and lanes are to show, where somebody has chosen one.
    """
    history = record.incident(number)
    incident = history.record.incident
    zone = labels.time_zone(incident.tank)
    whole = _with_what_was_projected(whole_span(incident, zone, now_us), history)
    span = whole if wanted is None else wanted
    recorded = _recorded(record, history, whole)
    first = labels.series(incident.tank, incident.series[0] if incident.series else "")
    cause = CAUSES.get(incident.cause)
    return Story(
        incident=incident,
        row=incident_row(history.record, labels, now_us, recorded.verdict),
        title=history.record.title,
        body=history.record.body,
        time_zone=zone,
        watches="" if cause is None else cause.watches,
        facts=_facts(incident, labels, zone),
        evidence=_evidence(incident, first, zone),
        reasons=tuple(reason_lines(incident.evidence, incident.tank, labels.configuration)),
        rivals=tuple(rival_lines(incident.evidence, incident.cause)),
        span=span,
        links=span.links({}, None if wanted is None else f"/incidents/{number}"),
        series=tuple(_series(record, recorded, labels, span, now_us)),
        lanes=lanes_of(recorded, labels, span, now_us),
        happened=tuple(_happened(one, zone) for one in happenings(recorded, labels)),
        before=before(record, labels, incident),
        similar=_similar(record, labels, incident, now_us),
        verdict=recorded.verdict,
    )


def whole_span(incident: Incident, zone: str, now_us: int) -> Span:
    """From some time before the first evidence to some time after the end."""
    last_us = now_us if incident.ended_at_us is None else incident.ended_at_us
    first_us = min(incident.first_evidence_us, incident.alarmed_at_us)
    around_us = max(_LEAST_AROUND_US, (last_us - first_us) // 2)
    return Span(first_us - around_us, max(min(last_us + around_us, now_us), last_us) + 1, zone)


def _with_what_was_projected(span: Span, history: IncidentHistory) -> Span:
    """On to where a danger line was projected, if that is no farther ahead than what is shown is long."""
    latest_us = [
        one.evidence.danger_latest_us or one.evidence.danger_at_us or 0
        for one in history.events
        if isinstance(one, AlarmRaised)
    ]
    ahead_us = max([one for one in latest_us if one <= span.end_us + span.width_us], default=0)
    return span._replace(end_us=max(span.end_us, ahead_us + span.width_us // 40 if ahead_us else 0))


def _recorded(record: Record, history: IncidentHistory, whole: Span) -> Recorded:
    incident = history.record.incident
    lives = record.life_changes(incident.alarms, incident.first_evidence_us, whole.end_us + _AFTERWARDS_US)
    return Recorded(
        incident,
        history.events,
        _of_this_time(incident, lives),
        record.deliveries(incident.number),
        record.works(incident.tank, whole.start_us, whole.end_us),
        record.notes(incident.number),
        record.verdicts([incident.number]).get(incident.number),
    )


def _of_this_time(incident: Incident, lives: Iterable[LifeChange]) -> list[LifeChange]:
    """Without what became of the same alarms when they were raised again, in a later incident."""
    over: set[AlarmKey] = set()
    found = []
    for one in lives:
        is_after = incident.ended_at_us is not None and one.at_us > incident.ended_at_us
        if is_after and one.step == "raise":
            over.add(one.alarm)
        if one.alarm not in over:
            found.append(one)
    return found


def _series(record: Record, recorded: Recorded, labels: Labels, span: Span, now_us: int) -> list[SeriesStory]:
    incident = recorded.incident
    moments = [
        (incident.first_evidence_us, "first evidence", "evidence"),
        (incident.alarmed_at_us, "alarm", "alarm"),
    ]
    if incident.ended_at_us is not None:
        moments.append((incident.ended_at_us, "returned to normal", "end"))
    found = []
    for name in incident.series[:_MOST_CHARTS]:
        label = labels.series(incident.tank, name)
        try:
            series = record.series_id(incident.tank, name)
        except KeyError:
            continue
        projected = projections_of(record, series, label, recorded.events, now_us, span.time_zone)
        buckets, lack = record.chart(series, span.start_us, span.end_us, CHART_BUCKETS)
        chart = draw(
            label,
            buckets,
            span.start_us,
            span.end_us,
            span.time_zone,
            moments=moments,
            usual=usual_over(record, series, span),
            ahead=[one.ahead for one in projected],
        )
        found.append(SeriesStory(chart, limit_words(label), sentences(projected), lack))
    return found


def _happened(one: Happening, zone: str) -> HappeningRow:
    at, what = instant(one.at_us, zone), one.what
    if one.struck_us is None:
        return HappeningRow(at, one.kind, what, one.detail, one.who, one.note)
    by = f" by {one.struck_by}" if one.struck_by else ""
    what = f"{what}, struck {full(one.struck_us, zone)}{by}"
    return HappeningRow(at, one.kind, what, one.detail, one.who, is_struck=True)


def _similar(record: Record, labels: Labels, incident: Incident, now_us: int) -> tuple[Similar, ...]:
    """Earlier incidents of the tank: of the same cause first, then of the same series; the newest first."""
    wanted = Wanted(tank=incident.tank, to_us=incident.alarmed_at_us)
    same = record.find_incidents(wanted._replace(cause=incident.cause), _SIMILAR + 1)
    found = [("same cause", one) for one in same if one.incident.number < incident.number]
    found += [
        ("same series", one)
        for one in record.find_incidents(wanted, _LOOKED_AT)
        if one.incident.number < incident.number
        and one.incident.cause != incident.cause
        and set(one.incident.series) & set(incident.series)
    ]
    found = found[:_SIMILAR]
    rows = incident_rows(record, labels, [one for _, one in found], now_us)
    return tuple(Similar(row, how) for row, (how, _) in zip(rows, found, strict=True))


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
