"""Incidents: alarms that belong together become one incident, and one incident rings once.

Alarms of one tank belong together if they concern a common series while the incident is open, or if
they tell of silence that began at one time: a lost network is one incident, however many probes it
takes. The alarm of the highest rank names the cause: a fault explains a crossed limit. When it returns
to normal while another diagnosis stands, as when one cause has taken the word from another, that one
names the incident from then on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from rules.causes import CAUSES
from rules.events import (
    AlarmEvent,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Evidence,
    Incident,
    IncidentEnded,
    IncidentEvent,
    IncidentOpened,
    IncidentUpdated,
    Priority,
)
from rules.setup import HOUR_US

_DANGER = ("under_danger_line", "over_danger_line")
_SILENCE = frozenset({"probe_silent", "device_offline", "mains_power_lost"})
# Boards that lose their power or network together are missed within this time of one another, by their
# last will, their own gap limit, or the next look at the tank.
_SILENT_TOGETHER_US = HOUR_US // 3
# Alarms of this rank and above say why; those below say what.
_LEAST_DIAGNOSIS = 5


class Incidents:
    """The open incidents of all tanks, fed with alarm events in order."""

    def __init__(self, next_number: int = 1) -> None:
        self._next_number = next_number
        self._open: dict[int, Incident] = {}
        self._active: dict[AlarmKey, tuple[int, AlarmRaised]] = {}

    @property
    def open_incidents(self) -> tuple[Incident, ...]:
        """Open incidents by number."""
        return tuple(self._open.values())

    def restore(self, incidents: Iterable[tuple[Incident, Iterable[AlarmRaised]]], next_number: int) -> None:
        """Take over open incidents, each with its alarms that are still active."""
        self._next_number = next_number
        self._open = {}
        self._active = {}
        for incident, active in incidents:
            self._open[incident.number] = incident
            for raised in active:
                self._active[raised.alarm] = (incident.number, raised)

    def take(self, event: AlarmEvent) -> IncidentEvent | None:
        """Take one alarm event; return what it means for an incident, if anything."""
        if isinstance(event, AlarmRaised):
            return self._join(event)
        number, _ = self._active.pop(event.alarm, (None, None))
        if number is None:
            return None
        left = [raised for other, raised in self._active.values() if other == number]
        if left:
            return self._hand_over(self._open[number], event, left)
        ended = replace(self._open.pop(number), ended_at_us=event.at_us)
        return IncidentEnded(event.at_us, ended)

    def _join(self, event: AlarmRaised) -> IncidentEvent:
        alarm = event.alarm
        for incident in self._open.values():
            if incident.tank == alarm.tank and self._belong_together(incident, event):
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
        self._active[alarm] = (incident.number, event)
        return IncidentOpened(event.at_us, incident)

    def _standing(self, incident: Incident) -> list[AlarmRaised]:
        """The alarms of an incident that are still active."""
        return [raised for number, raised in self._active.values() if number == incident.number]

    def _belong_together(self, incident: Incident, event: AlarmRaised) -> bool:
        # By what is still wrong: what has returned to normal must not swallow what comes a day later.
        if any(not set(raised.concerns).isdisjoint(event.concerns) for raised in self._standing(incident)):
            return True
        apart_us = event.first_evidence_us - incident.first_evidence_us
        return (
            event.alarm.cause in _SILENCE
            and incident.cause in _SILENCE
            and abs(apart_us) <= _SILENT_TOGETHER_US
        )

    def _hand_over(
        self, incident: Incident, event: AlarmReturned, left: list[AlarmRaised]
    ) -> IncidentUpdated | None:
        """Let another diagnosis name the incident when the one that named it is gone."""
        if event.alarm.cause != incident.cause:
            return None
        heir = max(left, key=lambda raised: CAUSES[raised.alarm.cause].rank)
        if heir.alarm.cause == incident.cause or CAUSES[heir.alarm.cause].rank < _LEAST_DIAGNOSIS:
            return None
        renamed = replace(
            incident,
            cause=heir.alarm.cause,
            series=tuple(dict.fromkeys((*heir.concerns, *incident.series))),
            evidence=heir.evidence,
        )
        self._open[incident.number] = renamed
        return IncidentUpdated(event.at_us, renamed, worsened=False)

    def _extend(self, incident: Incident, event: AlarmRaised) -> IncidentUpdated:
        names_cause = CAUSES[event.alarm.cause].rank > CAUSES[incident.cause].rank
        ahead, behind = (
            (event.concerns, incident.series) if names_cause else (incident.series, event.concerns)
        )
        is_more_urgent = event.priority.rank > incident.priority.rank
        # An alarm that is new to the incident is also measured by what is still wrong in it.
        is_new = event.alarm not in incident.alarms
        standing = max((raised.priority.rank for raised in self._standing(incident)), default=-1)
        # A danger line adds nothing to what was told at that very instant, or where the probe shows no water.
        nears_danger = (
            event.alarm.cause in _DANGER
            and event.priority is Priority.URGENT
            and event.at_us > incident.alarmed_at_us
        )
        worsened = is_more_urgent or (is_new and (event.priority.rank > standing or nears_danger))
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
        self._active[event.alarm] = (incident.number, event)
        return IncidentUpdated(event.at_us, extended, worsened)


def _evidence(incident: Incident, event: AlarmRaised, *, names_cause: bool, worsened: bool) -> Evidence:
    """Evidence of the cause; what makes it worse brings the value up to now, if it is of the same series."""
    if names_cause:
        return event.evidence
    if worsened and event.concerns[0] == incident.series[0]:
        return replace(incident.evidence, value=event.evidence.value)
    return incident.evidence
