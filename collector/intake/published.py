"""Requests that are published: `brinebell/<tank>/requests`, for buttons and other systems.

A payload is one JSON object: `id` (any text of its own; the same id is the same request), `do` (begin_work,
end_work or cancel_work), `kind`, and for begin_work `for` and, if it is to come, `in`: durations as text.
`at`, an RFC 3339 time, says when it was asked. Without it a message that waited at the broker while the
service was away is refused: nobody knows of when it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson

from collector.errors import ConfigError, PayloadError
from collector.mqtt import Message
from collector.payloads.times import rfc3339_us
from collector.requests import Asked, BeginWork, CancelWork, EndWork, Request
from collector.units import parse_duration

_LONGEST_ID = 100
_KEYS = frozenset({"id", "do", "kind", "for", "in", "at"})


def request_topic(tank: str) -> str:
    """The topic of a tank's requests."""
    return f"brinebell/{tank}/requests"


def published_request(message: Message, tank: str, *, is_backlog: bool) -> Request:
    """Read a request.

    Parameters
    ----------
    is_backlog
        Whether the message waited at the broker while nobody listened.

    Raises
    ------
    PayloadError
        If it is retained, waited without an `at`, or is not as the module says.
    """
    if message.is_retained:
        raise PayloadError(
            "a retained request is not done, it would come again at every start: publish without retain"
        )
    values = _object(message.payload)
    unknown = sorted(values.keys() - _KEYS)
    if unknown:
        raise PayloadError(f"{unknown[0]!r} is no key of a request: {', '.join(sorted(_KEYS))} are")
    number = values.get("id")
    if not isinstance(number, str) or not 0 < len(number) <= _LONGEST_ID:
        raise PayloadError(f'a request bears an "id" of its own, a text of at most {_LONGEST_ID} characters')
    if "at" in values:
        asked_us = rfc3339_us(values["at"])
        if asked_us > message.received_us:
            asked_us = message.received_us
    elif is_backlog:
        raise PayloadError(
            'it waited at the broker while the service was away, and without "at" nobody knows of when it is'
        )
    else:
        asked_us = message.received_us
    return Request(f"{tank}/{number}", asked_us, "MQTT", _asked(values, tank, asked_us))


def _object(payload: bytes) -> Mapping[str, Any]:
    try:
        values = orjson.loads(payload)
    except orjson.JSONDecodeError as error:
        raise PayloadError(f"a request is a JSON object: {error}") from error
    if not isinstance(values, dict):
        raise PayloadError('a request is a JSON object, such as {"id": "7", "do": "end_work"}')
    return values


def _asked(values: Mapping[str, Any], tank: str, asked_us: int) -> Asked:
    kind = values.get("kind", "")
    if not isinstance(kind, str):
        raise PayloadError(f'"kind" is a text, not {kind!r}')
    match values.get("do"):
        case "begin_work":
            if not kind:
                raise PayloadError('begin_work needs a "kind": `brinebell work` lists them')
            from_us = asked_us + (_duration(values, "in") if "in" in values else 0)
            return BeginWork(tank, kind, from_us, from_us + _duration(values, "for"))
        case "end_work":
            return EndWork(tank, kind)
        case "cancel_work":
            return CancelWork(tank, kind)
        case other:
            raise PayloadError(f'"do" is begin_work, end_work or cancel_work, not {other!r}')


def _duration(values: Mapping[str, Any], key: str) -> int:
    text = values.get(key)
    if not isinstance(text, str):
        raise PayloadError(f'begin_work needs "{key}", a duration such as "45 min"')
    try:
        return parse_duration(text)
    except ConfigError as error:
        raise PayloadError(str(error)) from error
