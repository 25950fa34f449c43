"""A person's channels: what each is called, and what apprise answers, turned into a result with a reason.

The only module that knows apprise. It is imported when something is sent, and that happens in the
sender process only.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, NamedTuple, TypedDict

from collector.delivery.masking import Mask
from collector.messages import Outcome
from rules import Priority

_SCHEME = re.compile(r"\s*([A-Za-z0-9][A-Za-z0-9+.-]*)://")
# Longer reasons are a page of somebody's web server.
_LONGEST_REASON = 300
# The receiver was reached and the answer is what is missing: it may have taken the message.
_MAY_HAVE_ARRIVED = re.compile(
    r"read timed out|closed connection without|connection unexpectedly closed|connection reset|"
    r"connection aborted|incompleteread|TIMEOUT",
    re.IGNORECASE,
)
# Details that apprise tells only while debugging; its other debug lines hold payloads and addresses.
_DETAIL = re.compile(r"(?:Socket|SMTP|I/O) Exception: ?", re.IGNORECASE)

_lines: ContextVar[list[str] | None] = ContextVar("lines", default=None)


class Request(TypedDict):
    """One message for one channel, as the sender process is given it.

    `number` is given back with the answer.
    """

    number: int
    url: str
    title: str
    body: str
    priority: str


class Sent(NamedTuple):
    """What became of one sending; `reason` says why it was not delivered, without secrets.

    INTERRUPTED is one whose answer did not come: it may have been delivered.
    """

    outcome: Outcome
    reason: str = ""


def channel_names(urls: Sequence[str]) -> tuple[str, ...]:
    """What a person's channels are called: the scheme, numbered where there are several of it.

    Other channels coming and going change no name, and a name holds no secret.
    """
    names: list[str] = []
    seen: dict[str, int] = {}
    for url in urls:
        match = _SCHEME.match(url)
        scheme = match.group(1).lower() if match else "channel"
        seen[scheme] = seen.get(scheme, 0) + 1
        names.append(scheme if seen[scheme] == 1 else f"{scheme} {seen[scheme]}")
    return tuple(names)


def load() -> None:
    """Import apprise (seconds on a small machine) and take hold of what it logs."""
    import apprise

    log: logging.Logger = apprise.logger
    if not any(isinstance(handler, _Listener) for handler in log.handlers):
        log.addHandler(_Listener())
    # Its debug lines hold what went wrong on the wire, and payloads: none goes to a handler but ours.
    log.setLevel(logging.DEBUG)
    log.propagate = False


def send(url: str, title: str, body: str, priority: Priority) -> Sent:
    """Send one message over one channel, waiting for the answer; never raises for a channel's trouble."""
    load()
    mask = Mask([url])
    with _listening() as lines:
        try:
            answer = _notify(url, title, body, priority)
        except Exception as error:  # noqa: BLE001 - a plug-in may raise anything, and it is told here
            lines.append(f"{type(error).__name__}: {error}")
            answer = None
    if answer:
        return Sent(Outcome.DELIVERED)
    statuses = [str(getattr(one, "status", "")) for one in getattr(answer, "results", ())]
    told = "; ".join(dict.fromkeys(" ".join(line.split()) for line in lines))
    may_have_arrived = _MAY_HAVE_ARRIVED.search(" ".join([told, *statuses])) is not None
    return Sent(
        Outcome.INTERRUPTED if may_have_arrived else Outcome.FAILED,
        mask(told)[:_LONGEST_REASON] or "the channel refused the message and gave no reason",
    )


def _notify(url: str, title: str, body: str, priority: Priority) -> Any:
    """Return apprise's answer: true in a condition only if the message was taken."""
    import apprise

    kinds = {
        Priority.URGENT: apprise.NotifyType.FAILURE,
        Priority.HIGH: apprise.NotifyType.WARNING,
        Priority.LOW: apprise.NotifyType.INFO,
    }
    service = apprise.Apprise.instantiate(url)
    if service is None:
        return None
    # "Optional" counts a failure as a success, and then nobody would be told.
    service.optional = False
    channel = apprise.Apprise()
    channel.add(service)
    return channel.notify(
        title=title, body=body, notify_type=kinds[priority], body_format=apprise.NotifyFormat.TEXT
    )


class _Listener(logging.Handler):
    """Hands what apprise logs to the sending in whose context it was logged."""

    def emit(self, record: logging.LogRecord) -> None:
        lines = _lines.get()
        if lines is None:
            return
        text = record.getMessage()
        if record.levelno >= logging.WARNING:
            lines.append(text)
        elif (detail := _DETAIL.match(text)) is not None:
            lines.append(text[detail.end() :])


@contextmanager
def _listening() -> Iterator[list[str]]:
    lines: list[str] = []
    token = _lines.set(lines)
    try:
        yield lines
    finally:
        _lines.reset(token)
