"""An incident as programs and people read it outside the page: an object of fixed keys, times as text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from collector.alarm_record import ThreadRecord
from collector.messages import Message, Try
from collector.wording.rivals import what_tells
from collector.wording.times import duration_text
from rules import MICROSECONDS, Evidence, Incident


def rfc3339(time_us: int) -> str:
    """An instant as RFC 3339 in UTC with microseconds."""
    seconds, micros = divmod(time_us, MICROSECONDS)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{micros:06d}Z"


def incident_object(incident: Incident, text: str) -> dict[str, object]:
    """The object that `--json` prints for an incident.

    `cause` is a code of `rules.CAUSES`, `series` are `tank/name` with that of the cause first, instants
    are RFC 3339 in UTC with microseconds, `ended_at` is None while it lasts. `evidence` is in canonical
    units, rates per hour; what is not known is None.
    """
    return {
        "cause": incident.cause,
        "series": [f"{incident.tank}/{name}" for name in incident.series],
        "first_evidence": rfc3339(incident.first_evidence_us),
        "alarmed_at": rfc3339(incident.alarmed_at_us),
        "ended_at": None if incident.ended_at_us is None else rfc3339(incident.ended_at_us),
        "priority": str(incident.priority),
        "text": text,
        "evidence": evidence_object(incident.evidence, incident.cause),
    }


def evidence_object(evidence: Evidence, cause: str) -> dict[str, object]:
    """What an alarm is based on: `sign` is a word of `rules.Sign`, which says what its values are."""
    return {
        "confidence": evidence.confidence,
        "value": evidence.value,
        "limit": evidence.limit,
        "usual": [evidence.expected_low, evidence.expected_high],
        "rate_per_hour": evidence.rate_per_hour,
        "since": _instant(evidence.since_us),
        "danger": evidence.danger,
        "danger_at": _instant(evidence.danger_at_us),
        "danger_between": [_instant(evidence.danger_earliest_us), _instant(evidence.danger_latest_us)],
        "reasons": [
            {
                "sign": str(reason.sign),
                "series": reason.series,
                "value": reason.value,
                "expected": [reason.low, reason.high],
                "since": _instant(reason.since_us),
                "window_s": None if reason.window_us is None else reason.window_us / MICROSECONDS,
                "speaks_against": reason.speaks_against,
            }
            for reason in evidence.reasons
        ],
        "rivals": [
            {
                "cause": rival.cause,
                "confidence": rival.confidence,
                "what_tells": what_tells(cause, rival.cause),
            }
            for rival in evidence.rivals
        ],
    }


def answer_object(answer: ThreadRecord | None) -> dict[str, object]:
    """How the telling of an incident stands, and who has answered; all None where none was recorded."""
    if answer is None:
        return dict.fromkeys(("state", "answered_by", "answered_at", "until"))
    return {
        "state": answer.state,
        "answered_by": answer.who or None,
        "answered_at": _instant(answer.at_us),
        "until": _instant(answer.until_us),
    }


def delivery_object(message: Message, state: str, tries: Sequence[Try]) -> dict[str, object]:
    """One message about an incident: where it stands in the outbox, and each try to send it."""
    return {
        "created": rfc3339(message.created_us),
        "kind": message.kind,
        "person": message.person,
        "channel": message.channel,
        "state": state,
        "tries": [
            {
                "started": rfc3339(one.started_us),
                "ended": _instant(one.ended_us),
                "outcome": one.outcome,
                "reason": one.reason,
            }
            for one in tries
        ],
    }


def _instant(time_us: int | None) -> str | None:
    return None if time_us is None else rfc3339(time_us)


def lasted_text(incident: Incident) -> str:
    """How long an incident lasted from its first evidence, as messages and pages count, or that it lasts."""
    if incident.ended_at_us is None:
        return "lasts"
    return duration_text(max(0, incident.ended_at_us - incident.first_evidence_us))
