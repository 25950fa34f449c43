"""A person's channels: what each is called, and what apprise answers, turned into a result with a reason.

The only module that knows apprise. It is imported when something is sent, and that happens in the
sender process only.
"""

from __future__ import annotations

import logging
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Any, NamedTuple, NotRequired, TypeAlias, TypedDict

from collector.errors import BrinebellError
from collector.sending.masking import Mask
from collector.sending.outcome import Outcome

_SCHEME = re.compile(r"\s*([A-Za-z0-9][A-Za-z0-9+.-]*)://")
# Longer reasons are a page of somebody's web server.
_LONGEST_REASON = 300
# The receiver was reached and the answer is what is missing: it may have taken the message.
_MAY_HAVE_ARRIVED = re.compile(
    r"read timed out|closed connection without|connection unexpectedly closed|connection reset|"
    r"connection aborted|incompleteread|TIMEOUT",
    re.IGNORECASE,
)
# Said of each part that was taken: some services take words and picture, or each receiver, one by one.
_PART_ARRIVED = re.compile(r"(?:Sent|Rang) ")
# Details that apprise tells only while debugging; its other debug lines hold payloads and addresses.
_DETAIL = re.compile(r"(?:Socket|SMTP|I/O) Exception: ?", re.IGNORECASE)

# What a person sees of the file.
_PICTURE_NAME = "last-hours.png"

# Makes a PNG when it is known that somebody takes it.
Draw: TypeAlias = Callable[[], bytes]

_heard: ContextVar[_Heard | None] = ContextVar("heard", default=None)


class Request(TypedDict):
    """One message for one channel, as the sender process is given it.

    `number` is given back with the answer; `picture` is a sketch as `collector.picture` has it.
    """

    number: int
    url: str
    title: str
    body: str
    priority: str
    picture: NotRequired[Mapping[str, Any] | None]


class Sent(NamedTuple):
    """What became of one sending; `reason` says why it was not delivered as it should be, without secrets.

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


def send(url: str, title: str, body: str, priority: str, draw: Draw | None = None) -> Sent:
    """Send one message over one channel, waiting for the answer; never raises for a channel's trouble.

    Parameters
    ----------
    priority
        The word of a `rules.Priority`, which is not imported here.
    draw
        Makes the picture that goes with it, if the channel takes one. Where that fails, or the message with
        its picture was surely refused, it is sent without, and the reason says so.
    """
    load()
    mask = Mask([url])
    if draw is None or not _takes_attachments(url):
        return _sent(mask, url, title, body, priority, None)
    try:
        picture = draw()
    except BrinebellError as error:
        reason = f"sent without its picture: {error}"
    else:
        sent = _sent(mask, url, title, body, priority, picture)
        if sent.outcome is not Outcome.FAILED:
            return sent
        reason = f"sent without its picture, which was refused: {sent.reason}"
    sent = _sent(mask, url, title, body, priority, None)
    return sent if sent.outcome is not Outcome.DELIVERED else Sent(sent.outcome, reason[:_LONGEST_REASON])


def _takes_attachments(url: str) -> bool:
    """Whether the service behind a channel takes files; a URL that apprise does not know takes nothing."""
    import apprise

    with _listening():
        service = apprise.Apprise.instantiate(url)
    return bool(getattr(service, "attachment_support", False))


def _sent(mask: Mask, url: str, title: str, body: str, priority: str, picture: bytes | None) -> Sent:
    """Try once, and say what became of it."""
    with _listening() as heard:
        try:
            answer = _notify(url, title, body, priority, picture)
        except Exception as error:  # noqa: BLE001 - a plug-in may raise anything, and it is told here
            heard.lines.append(f"{type(error).__name__}: {error}")
            answer = None
    if answer:
        return Sent(Outcome.DELIVERED)
    statuses = [str(getattr(one, "status", "")) for one in getattr(answer, "results", ())]
    told = "; ".join(dict.fromkeys(" ".join(line.split()) for line in heard.lines))
    may_have_arrived = heard.part_arrived or _MAY_HAVE_ARRIVED.search(" ".join([told, *statuses])) is not None
    return Sent(
        Outcome.INTERRUPTED if may_have_arrived else Outcome.FAILED,
        mask(told)[:_LONGEST_REASON] or "the channel refused the message and gave no reason",
    )


def _notify(url: str, title: str, body: str, priority: str, picture: bytes | None) -> Any:
    """Return apprise's answer: true in a condition only if the message was taken."""
    import apprise

    kinds = {
        "urgent": apprise.NotifyType.FAILURE,
        "high": apprise.NotifyType.WARNING,
        "low": apprise.NotifyType.INFO,
    }
    service = apprise.Apprise.instantiate(url)
    if service is None:
        return None
    # "Optional" counts a failure as a success, and then nobody would be told.
    service.optional = False
    channel = apprise.Apprise()
    channel.add(service)
    words: dict[str, Any] = {
        "title": title,
        "body": body,
        "notify_type": kinds[priority],
        "body_format": apprise.NotifyFormat.TEXT,
    }
    if picture is None:
        return channel.notify(**words)
    # Many plug-ins open what they attach by its path.
    with tempfile.TemporaryDirectory(prefix="brinebell-") as folder:
        path = Path(folder, _PICTURE_NAME)
        path.write_bytes(picture)
        return channel.notify(**words, attach=str(path))


class _Heard:
    """What apprise said of one try: complaints, and whether a part of the message was taken."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.part_arrived = False


class _Listener(logging.Handler):
    """Hands what apprise logs to the sending in whose context it was logged."""

    def emit(self, record: logging.LogRecord) -> None:
        heard = _heard.get()
        if heard is None:
            return
        text = record.getMessage()
        if record.levelno >= logging.WARNING:
            heard.lines.append(text)
        elif record.levelno == logging.INFO and _PART_ARRIVED.match(text) is not None:
            heard.part_arrived = True
        elif (detail := _DETAIL.match(text)) is not None:
            heard.lines.append(text[detail.end() :])


@contextmanager
def _listening() -> Iterator[_Heard]:
    heard = _Heard()
    token = _heard.set(heard)
    try:
        yield heard
    finally:
        _heard.reset(token)
