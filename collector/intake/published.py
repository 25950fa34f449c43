"""Requests that are published: `brinebell/<tank>/requests`, for buttons and other systems.

A payload is one JSON object: `id` (any text of its own; the same id is the same request) and `do`, one of
`DEEDS`. Works have a `kind`, and begin_work `for` and, if it is to come, `in`: durations as text. What is
asked about alarms names an `incident` by its number, or a `series` and perhaps its `cause`, and may say
`why`; shelve also `for` (an hour without it) or `until`, which is "morning". answer_test_ring may name the
`person`. `at`, an RFC 3339 time, says when it was asked. Without it a message that waited at the broker while
the service was away is refused: nobody knows of when it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, TypeGuard

import orjson

from collector.alarm_requests import (
    Acknowledge,
    AnswerTestRing,
    OfAlarms,
    Reset,
    ReturnToService,
    Shelve,
    TakeOutOfService,
    Unshelve,
)
from collector.errors import ConfigError, PayloadError
from collector.mqtt import Message
from collector.payloads.times import rfc3339_us
from collector.requests import EVERY_KIND, Asked, BeginWork, CancelWork, EndWork, Request
from collector.units import parse_duration

_LONGEST_ID = 100
_ALWAYS = frozenset({"id", "do", "at"})
_OF_ALARMS = _ALWAYS | {"incident", "series", "cause", "why"}
# What can be done, with the keys that each may have.
DEEDS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "begin_work": _ALWAYS | {"kind", "for", "in"},
        "end_work": _ALWAYS | {"kind"},
        "cancel_work": _ALWAYS | {"kind"},
        "acknowledge": _OF_ALARMS,
        "shelve": _OF_ALARMS | {"for", "until"},
        "unshelve": _OF_ALARMS,
        "reset": _OF_ALARMS,
        "take_out_of_service": _OF_ALARMS,
        "return_to_service": _OF_ALARMS,
        "answer_test_ring": _ALWAYS | {"person"},
    }
)
_SHELF = "1 h"


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
    deed = values.get("do")
    keys = DEEDS.get(deed) if isinstance(deed, str) else None
    if keys is None:
        raise PayloadError(f'"do" is one of {", ".join(DEEDS)}, not {deed!r}')
    unknown = sorted(values.keys() - keys)
    if unknown:
        raise PayloadError(f"{unknown[0]!r} is no key of {deed}: {', '.join(sorted(keys))} are")
    number = values.get("id")
    if not _is_id(number):
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


def id_of(payload: bytes) -> str | None:
    """The id of a request that cannot be taken, for the answer; None where it has none that is good."""
    try:
        number = _object(payload).get("id")
    except PayloadError:
        return None
    return number if _is_id(number) else None


def _is_id(number: object) -> TypeGuard[str]:
    return isinstance(number, str) and 0 < len(number) <= _LONGEST_ID


def _object(payload: bytes) -> Mapping[str, Any]:
    try:
        values = orjson.loads(payload)
    except orjson.JSONDecodeError as error:
        raise PayloadError(f"a request is a JSON object: {error}") from error
    if not isinstance(values, dict):
        raise PayloadError('a request is a JSON object, such as {"id": "7", "do": "end_work"}')
    return values


def _asked(values: Mapping[str, Any], tank: str, asked_us: int) -> Asked:
    deed, kind = values["do"], _text(values, "kind")
    match deed:
        case "begin_work":
            if not kind:
                raise PayloadError('begin_work needs a "kind": `brinebell work` lists them')
            from_us = asked_us + (_duration(values, "in") if "in" in values else 0)
            return BeginWork(tank, kind, from_us, from_us + _duration(values, "for"))
        case "end_work":
            return EndWork(tank, kind)
        case "cancel_work":
            if not kind:
                raise PayloadError(f'cancel_work needs a "kind", which may be "{EVERY_KIND}"')
            return CancelWork(tank, "" if kind == EVERY_KIND else kind)
        case "answer_test_ring":
            return AnswerTestRing(tank, _text(values, "person"))
    which = _which(values, tank)
    match deed:
        case "acknowledge":
            return Acknowledge(**which)
        case "shelve":
            return Shelve(**which, until_us=_shelved_until_us(values, asked_us))
        case "unshelve":
            return Unshelve(**which)
        case "reset":
            return Reset(**which)
        case "take_out_of_service":
            return TakeOutOfService(**which)
    return ReturnToService(**which)


def _which(values: Mapping[str, Any], tank: str) -> dict[str, Any]:
    """Which alarms are meant, as the fields of a request about them."""
    number = values.get("incident")
    if number is not None and (not isinstance(number, int) or isinstance(number, bool)):
        raise PayloadError(f'"incident" is the number of an incident, not {number!r}')
    found = {key: _text(values, key) for key in ("series", "cause", "why")}
    try:
        OfAlarms(tank, number, **found)
    except ValueError as error:
        raise PayloadError(f'{error}: give "incident", or "series" and perhaps "cause"') from error
    return {"tank": tank, "incident": number, **found}


def _shelved_until_us(values: Mapping[str, Any], asked_us: int) -> int | None:
    until = _text(values, "until")
    if not until:
        return asked_us + _duration({"for": _SHELF} | dict(values), "for")
    if until != "morning" or "for" in values:
        raise PayloadError('shelve takes "for", a duration such as "1 h", or "until": "morning"')
    return None


def _text(values: Mapping[str, Any], key: str) -> str:
    text = values.get(key, "")
    if not isinstance(text, str):
        raise PayloadError(f'"{key}" is a text, not {text!r}')
    return text


def _duration(values: Mapping[str, Any], key: str) -> int:
    text = values.get(key)
    if not isinstance(text, str):
        raise PayloadError(f'{values.get("do")} needs "{key}", a duration such as "45 min"')
    try:
        return parse_duration(text)
    except ConfigError as error:
        raise PayloadError(str(error)) from error
