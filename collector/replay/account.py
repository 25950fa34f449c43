"""What came of a replay, as people and programs read it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from collector.account import incident_object, lasted_text, rfc3339
from collector.configuration import Configuration
from collector.replay.hearing import Replayed
from collector.replay.rings import Ring
from collector.wording import message_for
from collector.wording.times import duration_text, moment_text
from rules import Found, Incident, Score


def told(incident: Incident, configuration: Configuration) -> str:
    """The message of an incident as it would ring at its alarm: first line, then body."""
    message = message_for(incident, configuration, kind="opened", now_us=incident.alarmed_at_us)
    return f"{message.title}\n{message.body}"


def replayed_object(
    replayed: Replayed, configuration: Configuration, lacks: Sequence[str], score: Score | None
) -> dict[str, object]:
    """The object that `--json` prints; instants are RFC 3339 in UTC, durations seconds."""
    found: dict[str, object] = {
        "from": rfc3339(replayed.first_us),
        "to": rfc3339(replayed.last_us),
        "lacks": list(lacks),
        "incidents": [
            {"number": one.number}
            | incident_object(one, told(one, configuration))
            | {"rings": [_ring_object(ring) for ring in replayed.rings if ring.incident == one.number]}
            for one in replayed.incidents
        ],
        "in_the_morning": [_ring_object(ring) for ring in replayed.rings if ring.incident is None],
    }
    if score is not None:
        found["score"] = score_object(score)
    return found


def _ring_object(ring: Ring) -> dict[str, object]:
    return {
        "at": rfc3339(ring.at_us),
        "person": ring.person,
        "kind": ring.kind,
        "priority": str(ring.priority),
        "at_night": ring.is_night,
        "quietly": ring.is_quiet,
    }


def score_object(score: Score) -> dict[str, object]:
    """Figures of a score; what cannot be said is None."""
    return {
        "annotated": [_found_object(one) for one in score.found],
        "false_alarms": [one.number for one in score.false],
        "quiet_months": score.months,
        "false_a_month": score.false_a_month if score.months else None,
        "false_urgent_a_month": score.false_urgent_a_month if score.months else None,
    }


def _found_object(found: Found) -> dict[str, object]:
    annotation = found.annotation
    return {
        "tank": annotation.tank,
        "cause": annotation.cause,
        "from": rfc3339(annotation.from_us),
        "incident": None if found.first is None else found.first.number,
        "delay_s": None if found.delay_us is None else found.delay_us / 1e6,
        "named_first": None if found.first is None else found.first.cause,
        "named_last": None if found.last is None else found.last.cause,
        "is_late": found.is_late,
    }


def replayed_lines(replayed: Replayed, configuration: Configuration, score: Score | None) -> Iterator[str]:
    """What rang, when, and whom; then how that stands against what truly happened."""
    for incident in replayed.incidents:
        yield ""
        yield f"{incident.number}  {incident_line(incident)}"
        for line in told(incident, configuration).splitlines():
            yield f"  {line}"
        for ring in replayed.rings:
            if ring.incident == incident.number:
                yield f"  {_ring_line(ring, _zone(incident.tank, configuration))}"
    zone = configuration.tanks[0].rules.time_zone if configuration.tanks else "UTC"
    mornings = [ring for ring in replayed.rings if ring.incident is None]
    if mornings:
        yield ""
        yield "In the morning, one message for all that waited:"
        for ring in mornings:
            yield f"  {_ring_line(ring, zone)}"
    if score is not None:
        yield ""
        yield from score_lines(score, configuration)


def incident_line(incident: Incident) -> str:
    """An incident in a line: since when, what, where, how long."""
    series = ", ".join(f"{incident.tank}/{name}" for name in incident.series)
    late = duration_text(max(0, incident.alarmed_at_us - incident.first_evidence_us))
    when = f"{rfc3339(incident.first_evidence_us)[:16]}Z, alarmed {late} later"
    return f"{when}  {incident.priority}  {incident.cause}  {series}  {lasted_text(incident)}"


def _ring_line(ring: Ring, zone: str) -> str:
    how = "tells" if ring.is_quiet else "rings"
    night = ", at night" if ring.is_night else ""
    return (
        f"{how} {ring.person} at {moment_text(ring.at_us, zone)}{night}: {_KINDS.get(ring.kind, ring.kind)}"
    )


_KINDS = {
    "opened": "it has begun",
    "worsened": "it got worse",
    "again": "nobody had answered",
    "next": "the one before had not answered",
    "back": "it was put off until then",
    "renamed": "another cause is likelier",
    "ended": "it is over",
    "morning": "what waited for the morning",
}


def score_lines(score: Score, configuration: Configuration) -> Iterator[str]:
    """How what rang stands against what truly happened."""
    yield "Against what truly happened:"
    for one in score.found:
        annotation = one.annotation
        at = moment_text(annotation.from_us, _zone(annotation.tank, configuration))
        yield f"  {at}  {annotation.cause} in {annotation.tank}: {outcome_text(one)}"
    if not score.found:
        yield "  nothing was the matter in this time"
    count = len(score.false)
    numbers = f": {', '.join(str(one.number) for one in score.false)}" if count else ""
    yield (
        f"  {count} false alarm{'' if count == 1 else 's'} in {score.months * 30.4:.1f} days without "
        f"a cause{numbers}"
    )


def outcome_text(found: Found) -> str:
    """What became of a cause: missed, or told when, by which name."""
    if found.first is None or found.delay_us is None or found.last is None:
        return "missed"
    late = ", too late" if found.is_late else ""
    name = "" if found.is_named else f", called {found.first.cause} at first"
    if found.last.cause not in (found.first.cause, found.annotation.cause):
        name += f", {found.last.cause} in the end"
    return f"incident {found.first.number} after {duration_text(found.delay_us)}{late}{name}"


def _zone(tank: str, configuration: Configuration) -> str:
    return next((one.rules.time_zone for one in configuration.tanks if one.name == tank), "UTC")
