"""A notice, its way to everybody, and the notes that keep it from being told twice."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple, Protocol, TypeAlias

from collector.messages import NewMessage
from rules import Priority


class Notice(NamedTuple):
    """What is told: `kind` says why, the words keep to the measure of every message."""

    kind: str
    title: str
    body: str
    priority: Priority


class Noticed(NamedTuple):
    """What goes into the next commit: messages, and notes by key that become so with them."""

    messages: Sequence[NewMessage] = ()
    notes: Mapping[str, str] = {}


class Turn(NamedTuple):
    """What one source has to say now, and what is to be noted with it."""

    notice: Notice | None = None
    notes: Mapping[str, str] = {}


class Source(Protocol):
    """Something that may have a notice."""

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:
        """Take note of time and line; None for nothing to say or note."""
        ...


# Person and channel of everybody who is told of a priority.
Channels: TypeAlias = Callable[[Priority], Iterable[tuple[str, str]]]


class Notices:
    """Asks its sources, and hands out what goes into the next commit.

    Parameters
    ----------
    sources
        Those that may have something to tell.
    channels
        Who is told, over which channels.
    """

    def __init__(self, sources: Sequence[Source], channels: Channels) -> None:
        self._sources, self._channels = tuple(sources), channels
        self._messages: list[NewMessage] = []
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
        return bool(self._messages or self._notes)

    def drain(self) -> Noticed:
        """Give it up."""
        noticed = Noticed(tuple(self._messages), dict(self._notes))
        self._messages, self._notes = [], {}
        return noticed

    def _letters(self, notice: Notice, now_us: int) -> Iterable[NewMessage]:
        for person, channel in self._channels(notice.priority):
            yield NewMessage(
                incident=None,
                kind=notice.kind,
                person=person,
                channel=channel,
                created_us=now_us,
                not_before_us=now_us,
                title=notice.title,
                body=notice.body,
                priority=notice.priority,
            )
