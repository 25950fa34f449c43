"""What a round of the session hands out: messages, what became of the connection, and a receipt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.mqtt.connection import Message


class Receipt(NamedTuple):
    """Stands for the first `up_to` messages that arrived on a connection."""

    connection: int
    up_to: int


class Connected(NamedTuple):
    """The broker let us in; without `session_present` it has forgotten what it kept for us."""

    connection: int
    session_present: bool


class Disconnected(NamedTuple):
    """The connection was lost; nothing can be heard."""

    connection: int


class CaughtUp(NamedTuple):
    """What lay before the marker, the first `position` messages of a round, was the last of the backlog.

    If it `was_heard`, the broker has also taken all acknowledgements that were sent before it; otherwise
    the broker does not let us have it, and a quiet line was taken for a live one.
    """

    position: int
    was_heard: bool


class Received(NamedTuple):
    """What one round brought.

    Messages, and where among them the marker was, if it came; then the change of the connection, if any.
    `receipt` stands for all messages up to here, and `is_drained` says that nothing more lay ready.
    """

    messages: Sequence[Message]
    caught_up: CaughtUp | None
    change: Connected | Disconnected | None
    receipt: Receipt
    is_drained: bool
