"""The last message of each topic as it came, for whoever wonders what a board really says.

Kept in memory alone: it is not worth a write to the card, and comes again with the next message.
"""

from __future__ import annotations

from typing import NamedTuple

from collector.mqtt import Message

# A message is there to be looked at, not to be kept whole.
MOST_BYTES = 500
# A wildcard may match any number of topics; the last that spoke are those that matter.
MOST_TOPICS = 200


class LastMessage(NamedTuple):
    """A message: its topic, when it came, what it held, cut, and how many bytes that was."""

    topic: str
    received_us: int
    payload: bytes
    length: int


class LastMessages:
    """Written by the loop, read by any thread."""

    def __init__(self) -> None:
        self._last: dict[str, LastMessage] = {}

    def hear(self, message: Message) -> None:
        """Remember it in place of the one before."""
        topic, payload = message.topic, message.payload
        self._last.pop(topic, None)
        self._last[topic] = LastMessage(topic, message.received_us, payload[:MOST_BYTES], len(payload))
        if len(self._last) > MOST_TOPICS:
            del self._last[next(iter(self._last))]

    def all(self) -> tuple[LastMessage, ...]:
        """All of them, in order of topic."""
        # Copied in one step of the interpreter: the loop cannot change it meanwhile.
        found = tuple(self._last.values())
        return tuple(sorted(found, key=lambda one: one.topic))
