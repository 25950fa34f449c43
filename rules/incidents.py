"""Incidents: alarms that belong together become one incident, and one incident rings once.

Alarms of one tank belong together if they concern a common series while the incident is open. The
alarm of the highest rank names the cause: a fault explains a crossed limit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from rules.causes import CAUSES
from rules.events import (
    AlarmEvent,
    AlarmKey,
    AlarmRaised,
    Evidence,
    Incident,
    IncidentEnded,
    IncidentEvent,
    IncidentOpened,
    IncidentUpdated,
)

_DANGER = ("under_danger_line", "over_danger_line")


class Incidents:
    """The open incidents of all tanks, fed with alarm events in order."""

    def __init__(self, next_number: int = 1) -> None:
        self._next_number = next_number
        self._open: dict[int, Incident] = {}
        self._active: dict[AlarmKey, int] = {}

    @property
    def open_incidents(self) -> tuple[Incident, ...]:
        """Open incidents by number."""
        return tuple(self._open.values())

    def restore(self, incidents: Iterable[tuple[Incident, Iterable[AlarmKey]]], next_number: int) -> None:
        """Take over open incidents, each with its alarms that are still active."""
        self._next_number = next_number
        self._open = {}
        self._active = {}
        for incident, active in incidents:
            self._open[incident.number] = incident
            for alarm in active:
                self._active[alarm] = incident.number

    def take(self, event: AlarmEvent) -> IncidentEvent | None:
        """Take one alarm event; return what it means for an incident, if anything."""
        if isinstance(event, AlarmRaised):
            return self._join(event)
        number = self._active.pop(event.alarm, None)
        if number is None or number in self._active.values():
            return None
        ended = replace(self._open.pop(number), ended_at_us=event.at_us)
        return IncidentEnded(event.at_us, ended)

    def _join(self, event: AlarmRaised) -> IncidentEvent:
        alarm = event.alarm
        for incident in self._open.values():
            if incident.tank == alarm.tank and not set(incident.series).isdisjoint(event.concerns):
                return self._extend(incident, event)
        incident = Incident(
            number=self._next_number,
            tank=alarm.tank,
            cause=alarm.cause,
            series=event.concerns,
            priority=event.priority,
            first_evidence_us=event.first_evidence_us,
            alarmed_at_us=event.at_us,
            ended_at_us=None,
            evidence=event.evidence,
            alarms=(alarm,),
        )
        self._next_number += 1
        self._open[incident.number] = incident
        self._active[alarm] = incident.number
        return IncidentOpened(event.at_us, incident)

    def _extend(self, incident: Incident, event: AlarmRaised) -> IncidentUpdated:
        names_cause = CAUSES[event.alarm.cause].rank > CAUSES[incident.cause].rank
        ahead, behind = (
            (event.concerns, incident.series) if names_cause else (incident.series, event.concerns)
        )
        is_more_urgent = event.priority.rank > incident.priority.rank
        worsened = is_more_urgent or _crosses_danger_line(incident, event)
        alarms = incident.alarms if event.alarm in incident.alarms else (*incident.alarms, event.alarm)
        extended = replace(
            incident,
            cause=event.alarm.cause if names_cause else incident.cause,
            series=tuple(dict.fromkeys((*ahead, *behind))),
            priority=event.priority if is_more_urgent else incident.priority,
            first_evidence_us=min(incident.first_evidence_us, event.first_evidence_us),
            evidence=_evidence(incident, event, names_cause=names_cause, worsened=worsened),
            alarms=alarms,
        )
        self._open[incident.number] = extended
        self._active[event.alarm] = incident.number
        return IncidentUpdated(event.at_us, extended, worsened)


def _evidence(incident: Incident, event: AlarmRaised, *, names_cause: bool, worsened: bool) -> Evidence:
    """Evidence of the cause; what makes it worse brings the value up to now, if it is of the same series."""
    if names_cause:
        return event.evidence
    if worsened and event.concerns[0] == incident.series[0]:
        return replace(incident.evidence, value=event.evidence.value)
    return incident.evidence


def _crosses_danger_line(incident: Incident, event: AlarmRaised) -> bool:
    """Whether a danger line is crossed for the first time in this incident: worse than any diagnosis."""
    return event.alarm.cause in _DANGER and not any(alarm.cause in _DANGER for alarm in incident.alarms)
