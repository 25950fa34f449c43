"""What is published, in bytes: JSON objects whose instants are RFC 3339 in UTC."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import NamedTuple

import orjson

from collector.store import IncidentRecord
from rules import MICROSECONDS, AlarmKey, AlarmState, Band, Flag, Priority

SOUND, QUIET = b"sound", b"quiet"
# States of ISA-18.2 in which nobody has seen yet what is wrong.
UNSEEN = frozenset({AlarmState.UNACKNOWLEDGED.value})


class AlarmNow(NamedTuple):
    """An alarm as it is: its state in the words of ISA-18.2, and since when; None where it never alarmed."""

    state: str
    since_us: int
    priority: Priority | None = None
    first_evidence_us: int | None = None


def alarm_payload(alarm: AlarmKey, now: AlarmNow, incident: int | None) -> bytes:
    """The state of an alarm; `incident` is the number of the open one that it belongs to."""
    return orjson.dumps(
        {
            "state": now.state,
            "cause": alarm.cause,
            "series": alarm.series,
            "priority": None if now.priority is None else str(now.priority),
            "since": instant(now.since_us),
            "first_evidence": instant(now.first_evidence_us),
            "incident": incident,
        }
    )


def incidents_payload(records: Iterable[IncidentRecord]) -> bytes:
    """The open incidents of a tank, the oldest first."""
    return orjson.dumps(
        {
            "open": [
                {
                    "number": record.incident.number,
                    "cause": record.incident.cause,
                    "priority": str(record.incident.priority),
                    "series": list(record.incident.series),
                    "first_evidence": instant(record.incident.first_evidence_us),
                    "alarmed_at": instant(record.incident.alarmed_at_us),
                    "danger_at": instant(record.incident.evidence.danger_at_us),
                    "text": record.title,
                }
                for record in records
            ]
        }
    )


def quality_payload(flag: int, since_us: int) -> bytes:
    """The flag of the newest reading, and the first reading of which it is so."""
    return orjson.dumps({"flag": flag, "word": Flag(flag).name.lower(), "since": instant(since_us)})


def expected_payload(band: Band, unit: str, from_us: int) -> bytes:
    """A usual band."""
    return orjson.dumps(
        {"low": round(band.low, 6), "high": round(band.high, 6), "unit": unit, "from": instant(from_us)}
    )


def sounder_payload(alarms: Iterable[AlarmNow]) -> bytes:
    """Whether a sounder is to sound for these alarms."""
    urgent = any(one.state in UNSEEN and one.priority is Priority.URGENT for one in alarms)
    return SOUND if urgent else QUIET


def instant(at_us: int | None) -> str | None:
    """RFC 3339, to the second."""
    if at_us is None:
        return None
    try:
        return f"{datetime.fromtimestamp(at_us // MICROSECONDS, UTC):%Y-%m-%dT%H:%M:%SZ}"
    except (ValueError, OverflowError, OSError):  # a projection may reach a year that no calendar has
        return None
