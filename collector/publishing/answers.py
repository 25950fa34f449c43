"""Tells whoever asked over MQTT what became of it, once that is durable.

Nothing is kept for a broker that is away: a request that is still wanted is published again, and one whose id
is known is not done twice.
"""

from __future__ import annotations

from typing import Protocol

import orjson

from collector.publishing.topics import answers_topic
from collector.requests import Answer
from collector.store import Commit


class Line(Protocol):
    """What is needed of the session with the broker."""

    def say(self, topic: str, payload: bytes) -> None:
        """Publish for whoever listens now, not retained."""
        ...


class AnswerPublisher:
    """Hears commits; on the thread of the loop."""

    def __init__(self, line: Line) -> None:
        self._line = line

    def hear(self, commit: Commit) -> None:
        """Publish the answers that have become durable, and why requests were not taken."""
        for answer in (*commit.answers, *commit.refused):
            # Other requests than those over MQTT bear ids without a tank.
            tank, slash, number = answer.request.partition("/")
            if slash:
                self._line.say(answers_topic(tank), _payload(number, answer))


def _payload(number: str, answer: Answer) -> bytes:
    return orjson.dumps({"id": number, "done": answer.is_done, "text": answer.text})
