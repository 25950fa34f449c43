"""An incident as programs and people read it outside the page: an object of fixed keys, times as text."""

from __future__ import annotations

from datetime import UTC, datetime

from collector.wording.times import duration_text
from rules import MICROSECONDS, Incident


def rfc3339(time_us: int) -> str:
    """An instant as RFC 3339 in UTC with microseconds."""
    seconds, micros = divmod(time_us, MICROSECONDS)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{micros:06d}Z"


def incident_object(incident: Incident, text: str) -> dict[str, object]:
    """The object that `--json` prints for an incident.

    `cause` is a code of `rules.CAUSES`, `series` are `tank/name` with that of the cause first, instants
    are RFC 3339 in UTC with microseconds, `ended_at` is None while it lasts.
    """
    return {
        "cause": incident.cause,
        "series": [f"{incident.tank}/{name}" for name in incident.series],
        "first_evidence": rfc3339(incident.first_evidence_us),
        "alarmed_at": rfc3339(incident.alarmed_at_us),
        "ended_at": None if incident.ended_at_us is None else rfc3339(incident.ended_at_us),
        "priority": str(incident.priority),
        "text": text,
    }


def lasted_text(incident: Incident) -> str:
    """How long an incident lasted from its first evidence, as messages and pages count, or that it lasts."""
    if incident.ended_at_us is None:
        return "lasts"
    return duration_text(max(0, incident.ended_at_us - incident.first_evidence_us))
