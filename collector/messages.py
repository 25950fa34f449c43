"""A message on its way to a person: as it is planned, as it waits in the outbox, and each try to send it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

from collector.sending.outcome import Outcome as Outcome
from rules import Priority


@dataclass(frozen=True, slots=True)
class NewMessage:
    """A notification for one person over one channel, to be sent at `not_before_us` or later.

    `kind` says why it is sent (a word of delivery), `channel` names the person's channel without the
    secret in its address.
    """

    incident: int | None
    kind: str
    person: str
    channel: str
    created_us: int
    not_before_us: int
    title: str
    body: str
    priority: Priority


@dataclass(frozen=True, slots=True)
class Message:
    """A message in the outbox.

    `tries` is how often sending it was begun. `may_repeat` is whether the end of a try is not known, of this
    or of another row of the same message, so that the person may have it already. `instead_of` is the
    message that this one carries on over another channel.
    """

    id: int
    incident: int | None
    kind: str
    person: str
    channel: str
    created_us: int
    not_before_us: int
    title: str
    body: str
    priority: Priority
    tries: int
    may_repeat: bool = False
    instead_of: int | None = None

    @property
    def first_id(self) -> int:
        """Its place in the order of what is told: that of the message which it carries on."""
        return self.id if self.instead_of is None else self.instead_of

    @classmethod
    def of_row(cls, row: Sequence[Any]) -> Message:
        """Make one from its fields, in their order, as plain values."""
        values = dict(zip((field.name for field in fields(cls)), row, strict=True))
        values["priority"] = Priority(values["priority"])
        values["may_repeat"] = bool(values["may_repeat"])
        return cls(**values)


class Try(NamedTuple):
    """One try to send a message; `ended_us` and `outcome` are None while it runs."""

    id: int
    started_us: int
    ended_us: int | None
    outcome: str | None
    reason: str | None


class Route(NamedTuple):
    """One channel over which a message goes or went: a row of the outbox.

    A message goes over every channel of its priority, each a row of its own; `first_id` tells which rows
    carry on one of these. `has_failed` is whether a try ended without the message being delivered.
    """

    channel: str
    state: str
    has_failed: bool
    first_id: int


class Handed(NamedTuple):
    """A try that has reached its person, or may have."""

    person: str
    channel: str
    started_us: int


class FailingChannel(NamedTuple):
    """A channel that does not work, since when and why; `is_told` is whether somebody was told."""

    person: str
    channel: str
    since_us: int
    reason: str
    is_told: bool = False


class Detour(NamedTuple):
    """Over which channel a message goes on, and from when."""

    channel: str
    not_before_us: int
