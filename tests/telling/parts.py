"""The desk played by hand: events and answers at instants, and who was told what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from collector.alarm_record import RingTest, ThreadRecord, Withdrawal
from collector.configuration import TankConfiguration
from collector.links import Links
from collector.messages import NewMessage
from collector.requests import Answer, Request
from collector.telling import Answering, Desk, Person, restored_desk
from rules import (
    AlarmEvent,
    AlarmKey,
    AlarmLife,
    AlarmRaised,
    AlarmReturned,
    Event,
    Evidence,
    Incident,
    IncidentEnded,
    Priority,
    TankRules,
)
from rules.incidents import Incidents
from tests.wording import example

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
ZONE = "Europe/Berlin"


def at(text: str, zone: str = ZONE) -> int:
    """An instant, as "2026-05-03 22:10" on the wall."""
    return round(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).timestamp()) * SECOND


# By day and in the middle of a week.
NOON = at("2026-05-06 12:00")


def person(name: str, *, channels: object = ("push",), **more: object) -> Person:
    return Person(name, dict.fromkeys(Priority, channels), **more)


def key(cause: str = "heater_failed_off", series: str = "temperature") -> AlarmKey:
    return AlarmKey("reef", series, cause)


def raised(
    at_us: int,
    cause: str = "heater_failed_off",
    priority: Priority = Priority.URGENT,
    *,
    series: str = "temperature",
    danger_at_us: int | None = None,
) -> AlarmRaised:
    evidence = Evidence(value=24.6, danger_at_us=danger_at_us)
    return AlarmRaised(at_us, key(cause, series), priority, at_us, (series,), evidence)


def returned(at_us: int, cause: str = "heater_failed_off", series: str = "temperature") -> AlarmReturned:
    return AlarmReturned(at_us, key(cause, series))


class Told(NamedTuple):
    """A message: when on the wall, whom, why."""

    at: str
    person: str
    kind: str


@dataclass
class Recorded:
    """What a store would give back."""

    lives: dict[AlarmKey, AlarmLife]
    tellings: dict[int, ThreadRecord]
    rings: dict[str, RingTest]
    alarms: dict[AlarmKey, AlarmRaised]
    incidents: dict[int, Incident]
    first_commit_us: int

    def alarm_lives(self):
        return dict(self.lives)

    def threads(self):
        return [one.data for one in self.tellings.values() if one.data is not None]

    def test_rings(self):
        return list(self.rings.values())

    def open_alarms(self):
        return list(self.alarms.values())

    def open_incidents(self):
        return [one for one in self.incidents.values() if one.ended_at_us is None]

    def incident(self, number):
        history = type("History", (), {})()
        history.record = type("Record", (), {})()
        history.record.incident = self.incidents[number]
        return history


class Played:
    """A desk in a time that the test moves on; `told` is every message that left, `waiting` none did yet."""

    def __init__(self, *people: Person, now_us: int = NOON, zone: str = ZONE, **telling: object) -> None:
        self.now_us = now_us
        self.zone = zone
        setup = example.configuration()
        tanks = (TankConfiguration("reef", "The reef", TankRules("reef", zone)),)
        telling = {"test_ring": "never"} | telling
        self.configuration = replace(setup, tanks=tanks, telling=replace(setup.telling, **telling))
        self.people = people or (person("sam"), person("kim"))
        self.recorded = Recorded({}, {}, {}, {}, {}, now_us)
        self.messages: list[NewMessage] = []
        self.withdrawals: list[Withdrawal] = []
        self.engine = Incidents()
        self.links: Links | None = None
        self.restart()

    def restart(self) -> None:
        """Everything that was not drained into a commit is gone."""
        self.desk: Desk = restored_desk(
            self.configuration, self.people, self.recorded, self.now_us, self.links
        )
        self.answering = Answering(
            self.desk, ["reef"], [("reef", "temperature"), ("reef", "ph"), ("reef", "salinity")]
        )

    def say(self, *alarms: AlarmEvent) -> Sequence[Event]:
        """The engine says these; what they mean for incidents follows each."""
        events: list[Event] = []
        for one in alarms:
            events.append(one)
            meaning = self.engine.take(one)
            if meaning is not None:
                events.append(meaning)
                self.recorded.incidents[meaning.incident.number] = meaning.incident
            if isinstance(one, AlarmRaised):
                self.recorded.alarms[one.alarm] = one
            else:
                self.recorded.alarms.pop(one.alarm, None)
        self.desk.hear(events, self.now_us)
        self.commit()
        return events

    def raise_(self, *arguments: object, **more: object) -> None:
        self.say(raised(self.now_us, *arguments, **more))

    def return_(self, *arguments: str) -> None:
        self.say(returned(self.now_us, *arguments))

    def ask(self, asked: object, who: str = "sam") -> Answer:
        answer = self.answering.take(Request("1", self.now_us, who, asked), asked, self.now_us)
        self.commit()
        return answer

    def commit(self) -> None:
        self.desk.turn(self.now_us)
        changes = self.desk.drain(self.now_us)
        self.messages += changes.messages
        self.withdrawals += changes.withdrawals
        self.recorded.lives |= {one.alarm: one.life for one in changes.lives}
        self.recorded.tellings |= {one.incident: one for one in changes.threads}
        self.recorded.rings |= {one.person: one for one in changes.test_rings}

    def until(self, at_us: int) -> None:
        """Let time pass, from step to step."""
        while (wakes_us := self.desk.wakes_us) is not None and wakes_us <= at_us:
            assert wakes_us >= self.now_us or wakes_us == self.now_us, "it would wake for ever"
            self.now_us = max(self.now_us, wakes_us)
            before = self.desk.wakes_us
            self.commit()
            assert self.desk.wakes_us is None or self.desk.wakes_us > self.now_us or before is None
        self.now_us = at_us

    def pass_(self, duration_us: int) -> None:
        self.until(self.now_us + duration_us)

    @property
    def told(self) -> list[Told]:
        return [Told(self.clock(one.created_us), one.person, one.kind) for one in self.messages]

    def state(self, number: int = 1) -> str:
        return self.recorded.tellings[number].state

    def clock(self, at_us: int) -> str:
        return datetime.fromtimestamp(at_us / 1e6, ZoneInfo(self.zone)).strftime("%H:%M")


def ended(incident: Incident, at_us: int) -> IncidentEnded:
    return IncidentEnded(at_us, replace(incident, ended_at_us=at_us))
