"""Replay: a recording through the same engine at full speed, and the incidents that come of it."""

from __future__ import annotations

from collections.abc import Callable

from collector.configuration import Configuration
from collector.recordings import Recording
from collector.wording import message_for
from rules import Engine, Event, Incident, IncidentEnded, IncidentOpened, IncidentUpdated


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


def _collect(incidents: dict[int, Incident], events: tuple[Event, ...]) -> None:
    for event in events:
        if isinstance(event, IncidentOpened | IncidentUpdated | IncidentEnded):
            incidents[event.incident.number] = event.incident


def told(incident: Incident, configuration: Configuration) -> str:
    """The message of an incident as it would ring at its alarm: first line, then body."""
    message = message_for(incident, configuration, kind="opened", now_us=incident.alarmed_at_us)
    return f"{message.title}\n{message.body}"
