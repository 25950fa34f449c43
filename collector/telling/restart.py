"""The desk as it stood when the service stopped, from what was recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from collector.alarm_record import RingTest
from collector.configuration import Configuration
from collector.links import Links
from collector.telling.desk import Desk
from collector.telling.lives import Lives
from collector.telling.people import Person
from collector.telling.ring_tests import RingTests
from collector.telling.thread import Thread, thread_of
from rules import AlarmKey, AlarmLife, AlarmRaised, Incident


class Record(Protocol):
    """What is needed of the store's reader."""

    def alarm_lives(self) -> Mapping[AlarmKey, AlarmLife]:
        """What every alarm is."""
        ...

    def threads(self) -> Sequence[str]:
        """The tellings that are not over."""
        ...

    def test_rings(self) -> Sequence[RingTest]:
        """The last of each person."""
        ...

    def open_alarms(self) -> Sequence[AlarmRaised]:
        """Alarms that have not returned to normal."""
        ...

    def open_incidents(self) -> Sequence[Incident]:
        """Incidents that have not ended."""
        ...

    def incident(self, number: int) -> Any:
        """One incident; KeyError if there is none."""
        ...

    @property
    def first_commit_us(self) -> int | None:
        """When anything was recorded first."""
        ...


def restored_desk(
    configuration: Configuration,
    people: Sequence[Person],
    record: Record,
    now_us: int,
    links: Links | None = None,
) -> Desk:
    """Bring the desk to where it was; what is due meanwhile is due now."""
    threads = [thread_of(data) for data in record.threads()]
    incidents = {one.number: one for one in record.open_incidents()}
    known = {one.incident for one in threads}
    for one in threads:
        if one.incident not in incidents:
            incidents[one.incident] = record.incident(one.incident).record.incident
    # Opened by a version that told everybody once and remembered no more: not to be rung again.
    told = tuple(one.name for one in people)
    threads += [
        Thread(one.number, one.alarms[0], one.priority, rung_us=one.alarmed_at_us, told=told)
        for number, one in incidents.items()
        if number not in known
    ]
    latching = [(one.tank, one.name) for one in configuration.series if one.latches]
    lives = Lives(record.alarm_lives(), latching)
    lives.settle([raised.alarm for raised in record.open_alarms()], now_us)
    telling = configuration.telling
    zones = [tank.rules.time_zone for tank in configuration.tanks]
    first_us = record.first_commit_us
    test_rings = RingTests(
        record.test_rings(),
        telling.test_ring,
        telling.test_ring_at,
        telling.test_answer_us,
        zones[0] if zones else "UTC",
        now_us if first_us is None else first_us,
        links,
    )
    return Desk(configuration, people, lives, threads, incidents.values(), test_rings, links)
