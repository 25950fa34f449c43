"""A message on its way to a person: as it is planned, as it waits in the outbox, and each try to send it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any, NamedTuple

from rules import Priority


class Outcome(StrEnum):
    """What became of a try; `interrupted` is one whose end nobody saw, so it may have been delivered."""

    DELIVERED = "delivered"
    FAILED = "failed"
    INTERRUPTED = "interrupted"


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

    `tries` is how often sending it was begun; `may_repeat` is whether the end of one of these tries is
    not known, so that the person may have it already.
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
