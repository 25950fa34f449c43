"""Whom a replay would have rung, and when: the same desk as live, and nothing is sent.

Nobody answers in a recording, so an assumption stands in for it: whoever is rung answers so long after the
first ring, or nobody ever does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.alarm_requests import Acknowledge
from collector.configuration import Configuration
from collector.messages import NewMessage
from collector.requests import Request
from collector.telling import RINGS, Answering, Desk, Lives, Person
from rules import HOUR_US, MICROSECONDS, AlarmEvent, AlarmKey, Event, Priority

# What happens within as much is told in one go, as the service does that commits once a second.
_AT_ONCE_US = MICROSECONDS
_DAY_US = 24 * HOUR_US
# Rings that nobody would send, where the configuration has no address.
UNADDRESSED = Person("whoever is on duty", dict.fromkeys(Priority, ("",)))


@dataclass(frozen=True, slots=True)
class Ring:
    """Somebody is rung, or told quietly.

    `kind` is why, in a word of delivery; `is_quiet` that it waits beside the phone and wakes nobody.
    """

    at_us: int
    person: str
    incident: int | None
    kind: str
    priority: Priority
    is_night: bool
    title: str

    @property
    def is_quiet(self) -> bool:
        """Whether nothing rings for it."""
        return self.priority is Priority.LOW or self.kind not in (*RINGS, "morning")


class DryTelling:
    """Follows a replay as the desk of the service does.

    Parameters
    ----------
    people
        Those who can be told; without any, somebody with the usual night stands in.
    answered_after_us
        How long after its first ring an incident is acknowledged; None for never.
    """

    def __init__(
        self,
        configuration: Configuration,
        people: Sequence[Person],
        answered_after_us: int | None,
    ) -> None:
        self.people = tuple(people) or (UNADDRESSED,)
        latching = [(one.tank, one.name) for one in configuration.series if one.latches]
        self._desk = Desk(configuration, self.people, Lives({}, latching))
        self._answering = Answering(
            self._desk,
            [tank.name for tank in configuration.tanks],
            [(one.tank, one.name) for one in configuration.series],
        )
        self._first_tank = configuration.tanks[0].name if configuration.tanks else ""
        self._after_us = answered_after_us
        # When the incidents are answered that have been rung for, and by whom.
        self._answers: dict[int, tuple[int, str]] = {}
        self._now_us = 0
        self.rings: list[Ring] = []

    def hear(self, events: Sequence[Event]) -> None:
        """Take what the engine says, in its order."""
        together: list[Event] = []
        at_us: int | None = None
        for event in events:
            if isinstance(event, AlarmEvent):
                if at_us is not None and event.at_us - at_us > _AT_ONCE_US:
                    self._tell(together, at_us)
                    together, at_us = [], None
                at_us = event.at_us if at_us is None else max(at_us, event.at_us)
            together.append(event)
        if at_us is not None:
            self._tell(together, at_us)

    def suppress(self, alarms: Sequence[AlarmKey], now_us: int) -> None:
        """Know which alarms planned work suppresses by design now."""
        self.turn(now_us)
        self._desk.suppress(alarms, self._now_us)
        self._collect()

    def turn(self, now_us: int) -> None:
        """Let time pass: what is due is told, and what was told is answered."""
        while True:
            dues = [at_us for at_us, _ in self._answers.values()]
            if self._desk.wakes_us is not None:
                dues.append(self._desk.wakes_us)
            if not dues or min(dues) > now_us:
                break
            self._now_us = max(self._now_us, min(dues))
            for number, (at_us, who) in list(self._answers.items()):
                if at_us <= self._now_us:
                    del self._answers[number]
                    asked = Acknowledge("", number)
                    self._answering.take(Request(f"answer {number}", at_us, who, asked), asked, self._now_us)
            self._desk.turn(self._now_us)
            self._collect()
        self._now_us = max(self._now_us, now_us)

    def let_the_night_pass(self) -> None:
        """At the end of a recording: who would be rung in the morning for what waits is rung for it once."""
        count = len(self.rings)
        told = {one.incident for one in self.rings if not one.is_quiet}
        self.turn(self._now_us + _DAY_US)
        for one in self.rings[count:]:
            if one.is_quiet or (one.kind != "morning" and one.incident in told):
                continue
            told.add(one.incident)
            self.rings[count] = one
            count += 1
        del self.rings[count:]

    def _tell(self, events: Sequence[Event], at_us: int) -> None:
        self.turn(at_us)
        self._desk.hear(events, self._now_us)
        self._desk.turn(self._now_us)
        self._collect()

    def _collect(self) -> None:
        tanks = {number: incident.tank for number, incident in self._desk.incidents.items()}
        messages = self._desk.drain(self._now_us).messages
        for one in {(one.person, one.incident, one.kind): one for one in messages}.values():
            self.rings.append(self._ring(one, tanks.get(one.incident or 0, self._first_tank)))
            if self._after_us is not None and one.incident is not None and one.kind in RINGS:
                self._answers.setdefault(one.incident, (self._now_us + self._after_us, one.person))

    def _ring(self, message: NewMessage, tank: str) -> Ring:
        person = next(one for one in self.people if one.name == message.person)
        zone = self._desk.zone(tank)
        return Ring(
            self._now_us,
            message.person,
            message.incident,
            message.kind,
            message.priority,
            person.night_ends_us(self._now_us, zone) is not None,
            message.title,
        )
