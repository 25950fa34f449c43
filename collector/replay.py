"""Replay: a recording through the same engine at full speed, and the incidents that come of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from collector.configuration import Configuration
from collector.recordings import Recording
from collector.wording import message_for
from rules import HOUR_US, MICROSECONDS, Engine, Incident, IncidentEnded, IncidentOpened, IncidentUpdated


def replay(
    recording: Recording, configuration: Configuration, progress: Callable[[int], object] = lambda _: None
) -> list[Incident]:
    """Return the incidents of a recording in the order in which they were opened.

    Parameters
    ----------
    recording
        Readings sorted by time.
    progress
        Called with the number of readings just judged.
    """
    engine = Engine(configuration.engine)
    incidents: dict[int, Incident] = {}
    for block in recording.blocks():
        _collect(incidents, engine.advance(block).events)
        progress(len(block))
    if len(recording):
        # What the last readings showed is known only when the allowance has passed.
        end_us = int(recording.times_us[-1]) + configuration.engine.allowance_us
        _collect(incidents, engine.advance_to(end_us))
    return list(incidents.values())


def _collect(incidents: dict[int, Incident], events: tuple[object, ...]) -> None:
    for event in events:
        if isinstance(event, IncidentOpened | IncidentUpdated | IncidentEnded):
            incidents[event.incident.number] = event.incident


def rfc3339(time_us: int) -> str:
    """RFC 3339 in UTC with microseconds."""
    seconds, micros = divmod(time_us, MICROSECONDS)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{micros:06d}Z"


def describe(incident: Incident, configuration: Configuration) -> dict[str, object]:
    """One incident as `brinebell replay --json` prints it."""
    message = message_for(incident, configuration, kind="opened", now_us=incident.alarmed_at_us)
    return {
        "cause": incident.cause,
        "series": [f"{incident.tank}/{name}" for name in incident.series],
        "first_evidence": rfc3339(incident.first_evidence_us),
        "alarmed_at": rfc3339(incident.alarmed_at_us),
        "ended_at": None if incident.ended_at_us is None else rfc3339(incident.ended_at_us),
        "priority": str(incident.priority),
        "text": f"{message.title}\n{message.body}",
    }


def duration_text(incident: Incident) -> str:
    """How long an incident lasted, or that it lasts."""
    if incident.ended_at_us is None:
        return "lasts"
    minutes = round((incident.ended_at_us - incident.alarmed_at_us) * 60 / HOUR_US)
    return f"{minutes // 60} h {minutes % 60:02d} min"
