"""What leaves the desk: messages to people, and those on their way that are needed no more."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from collector.alarm_record import Withdrawal
from collector.configuration import Configuration
from collector.links import Links
from collector.messages import NewMessage
from collector.telling.ladder import Step
from collector.telling.letters import RINGS, Waited, letter, morning_letter
from collector.telling.people import Person
from collector.telling.thread import Thread
from rules import Incident, Priority


class Mail:
    """Words what is told, and keeps it until it is drained into a commit; with `links` it carries them."""

    def __init__(self, configuration: Configuration, links: Links | None = None) -> None:
        self._configuration, self._links = configuration, links
        self._messages: list[NewMessage] = []
        self._withdrawals: list[Withdrawal] = []

    def ring(self, thread: Thread, incident: Incident, step: Step, now_us: int) -> None:
        """Take a step of a telling; a ring that could not be delivered so far is overtaken by it."""
        kind = thread.kind
        if step.is_repeat:
            kind = "again"
        elif thread.progress.turns:
            kind = "next"
        self.withdraw(incident.number, RINGS, person=step.person.name, is_waiting=True)
        self._write(step.person, incident, kind, thread.priority, now_us)

    def tell_quietly(self, people: Iterable[Person], incident: Incident, kind: str, now_us: int) -> None:
        """Tell them on the channels of what is low; what was told so before and waits is overtaken."""
        self.withdraw(incident.number, (kind,), is_waiting=True)
        for person in people:
            self._write(person, incident, kind, Priority.LOW, now_us)

    def tell_in_the_morning(
        self, person: Person, threads: Sequence[Thread], incidents: Mapping[int, Incident], now_us: int
    ) -> None:
        """One message for all that waited; a single alarm that still stands reads as by day."""
        first = threads[0]
        if len(threads) == 1 and first.ended_us is None:
            kind = "again" if person.name in first.told else first.kind
            self._write(person, incidents[first.incident], kind, first.priority, now_us)
            return
        waited = [Waited(incidents[one.incident], one.priority, one.ended_us is not None) for one in threads]
        self.add(morning_letter(person, waited, self._configuration, now_us))

    def add(self, messages: Iterable[NewMessage]) -> None:
        """Send these, too."""
        self._messages += messages

    def withdraw(
        self, incident: int, kinds: tuple[str, ...] = (), *, person: str = "", is_waiting: bool = False
    ) -> None:
        """Let messages be needed no more, as `Withdrawal` says."""
        self._withdrawals.append(Withdrawal(incident, person, kinds, is_waiting))

    def drain(self) -> tuple[tuple[NewMessage, ...], tuple[Withdrawal, ...]]:
        """Give up messages, and those that are needed no more."""
        gone = tuple(self._messages), tuple(self._withdrawals)
        self._messages, self._withdrawals = [], []
        return gone

    def _write(self, person: Person, incident: Incident, kind: str, priority: Priority, now_us: int) -> None:
        self.add(letter(person, incident, kind, priority, self._configuration, now_us, self._links))
