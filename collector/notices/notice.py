"""A notice, its way to everybody, and the notes that keep it from being told twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple, Protocol

from collector.alarm_record import Withdrawal
from collector.messages import NewMessage
from collector.telling import Person, present
from rules import Priority


class Notice(NamedTuple):
    """What is told: `kind` says why, the words keep to the measure of every message.

    `overtakes` are kinds that are needed no more where they still wait for somebody's morning. What helps
    only now (`waits` False) is not told to who sleeps.
    """

    kind: str
    title: str
    body: str
    priority: Priority
    overtakes: tuple[str, ...] = ()
    waits: bool = True


class Noticed(NamedTuple):
    """What goes into the next commit: messages, those needed no more, and notes by key."""

    messages: Sequence[NewMessage] = ()
    notes: Mapping[str, str] = {}
    withdrawals: Sequence[Withdrawal] = ()


class Turn(NamedTuple):
    """What one source has to say now, and what is to be noted with it."""

    notice: Notice | None = None
    notes: Mapping[str, str] = {}


class Source(Protocol):
    """Something that may have a notice."""

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:
        """Take note of time and line; None for nothing to say or note."""
        ...


class Notices:
    """Asks its sources, and hands out what goes into the next commit.

    Parameters
    ----------
    sources
        Those that may have something to tell.
    people
        Those who can be told. Nobody is told who is away, or at night what does not ring at night.
    zone
        The time zone of their nights.
    """

    def __init__(self, sources: Sequence[Source], people: Sequence[Person], zone: str) -> None:
        self._sources, self._people, self._zone = tuple(sources), tuple(people), zone
        self._messages: list[NewMessage] = []
        self._withdrawals: list[Withdrawal] = []
        self._notes: dict[str, str] = {}

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> bool:
        """Whether there is something for the next commit."""
        for source in self._sources:
            said = source.turn(now_us, is_connected=is_connected, is_catching_up=is_catching_up)
            if said is None:
                continue
            self._notes.update(said.notes)
            if said.notice is not None:
                self._messages += self._letters(said.notice, now_us)
                if said.notice.overtakes:
                    self._withdrawals.append(Withdrawal(None, kinds=said.notice.overtakes, is_waiting=True))
        return bool(self._messages or self._notes)

    def drain(self) -> Noticed:
        """Give it up."""
        noticed = Noticed(tuple(self._messages), dict(self._notes), tuple(self._withdrawals))
        self._messages, self._notes, self._withdrawals = [], {}, []
        return noticed

    def _letters(self, notice: Notice, now_us: int) -> Iterable[NewMessage]:
        for person in present(self._people, now_us, self._zone):
            from_us = person.told_from_us(notice.priority, now_us, self._zone)
            if from_us > now_us and not notice.waits:
                continue
            for channel in person.channels[notice.priority]:
                yield NewMessage(
                    incident=None,
                    kind=notice.kind,
                    person=person.name,
                    channel=channel,
                    created_us=now_us,
                    not_before_us=from_us,
                    title=notice.title,
                    body=notice.body,
                    priority=notice.priority,
                )
