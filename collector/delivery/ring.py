"""A test message over every channel, to be sure that the phone rings before it must."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Sequence
from typing import NamedTuple

from collector.configuration import Configuration
from collector.delivery.child import Answer, Gone, Heard, SenderProcess, sender_command
from collector.delivery.worker import PATIENCE_S
from collector.messages import Outcome
from collector.sending.channels import Sent, channel_names
from collector.sending.masking import Mask
from rules import Priority

TITLE = "Brinebell test: this is how an alarm arrives"
BODY = "Nothing is wrong. If this woke you, the way to your phone works."


class ChannelResult(NamedTuple):
    """Whether one channel took the test message; `reason` says why not, without secrets."""

    person: str
    channel: str
    is_delivered: bool
    reason: str


def send_test(
    configuration: Configuration,
    *,
    command: Callable[[], Sequence[str]] = sender_command,
    patience_s: float = PATIENCE_S,
) -> list[ChannelResult]:
    """Send a test message over every channel of every person and wait for the answers.

    It goes the way of a real message, through a sender process, but not through the outbox: no try is
    recorded, nothing is tried again.
    """
    targets = [
        (person.name, channel, url)
        for person in configuration.people
        for channel, url in zip(channel_names(person.urls), person.urls, strict=True)
    ]
    if not targets:
        return []
    heard: queue.SimpleQueue[Heard] = queue.SimpleQueue()
    process = SenderProcess(command(), heard.put, Mask(url for _, _, url in targets))
    for number, (_, _, url) in enumerate(targets):
        process.send(
            {"number": number, "url": url, "title": TITLE, "body": BODY, "priority": Priority.LOW.value}
        )
    process.finish()
    answers = _collect(heard, len(targets), patience_s)
    process.kill()
    process.join(patience_s)
    return [
        ChannelResult(person, channel, sent.outcome is Outcome.DELIVERED, sent.reason)
        for (person, channel, _), sent in zip(targets, answers, strict=True)
    ]


def _collect(heard: queue.SimpleQueue[Heard], count: int, patience_s: float) -> list[Sent]:
    until_s = time.monotonic() + patience_s
    reason = f"no answer within {patience_s:g} s"
    found: dict[int, Sent] = {}
    while len(found) < count:
        try:
            event = heard.get(timeout=max(0.0, until_s - time.monotonic()))
        except queue.Empty:
            break
        if isinstance(event, Gone):
            reason = f"the sender process died (status {event.status})"
            break
        if isinstance(event, Answer):
            found[event.number] = event.sent
    return [found.get(number, Sent(Outcome.INTERRUPTED, reason)) for number in range(count)]
