"""The payload's own time: RFC 3339 text and Unix times become microseconds since 1970 UTC.

Times that cannot be right (the future, or a board without a clock in 1970) are not judged here: who
knows the present does that.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

from collector.errors import PayloadError
from collector.payloads.shown import shown
from rules import MICROSECONDS

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_DAY_S = 86_400
# RFC 3339, 5.6: the offset is not optional; T and Z may be in lower case, and a space may stand for T.
_RFC3339 = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:(\d{2})(?:\.\d+)?(?:[Zz]|[+-]\d{2}:[0-5]\d)", re.ASCII
)
# Instants are kept in 64 bits, and differences of two must still fit.
_FARTHEST_US = 2**62


def rfc3339_us(text: object) -> int:
    """Return the instant that an RFC 3339 text means; digits beyond the microsecond are cut off.

    A leap second (RFC 3339, 5.6 and appendix D) is the first second of the next minute, as in Unix time.
    Raises PayloadError for anything else, such as a time without an offset.
    """
    found = _RFC3339.fullmatch(text) if isinstance(text, str) else None
    if found is None or not isinstance(text, str):
        raise PayloadError(
            f"{shown(text)} is no RFC 3339 time with its offset, such as 2026-11-25T18:00:00Z or "
            "2026-11-25T19:00:00+01:00"
        )
    is_leap = found[1] == "60"
    plain = text[: found.start(1)] + "59" + text[found.end(1) :] if is_leap else text
    try:
        instant_us = (datetime.fromisoformat(plain.upper()) - _EPOCH) // _MICROSECOND
    except (ValueError, OverflowError) as error:
        raise PayloadError(f"{shown(text)} is no time of any day: {error}") from error
    if not is_leap:
        return instant_us
    instant_us += MICROSECONDS
    if instant_us // MICROSECONDS % _DAY_S:
        raise PayloadError(
            f"{shown(text)} is no time of any day: leap seconds come at the end of one, in UTC"
        )
    return instant_us


def unix_time_us(value: object, microseconds: float) -> int:
    """Return the instant that a Unix time means, given as a number or as its text.

    Parameters
    ----------
    value
        Count since 1970 UTC, leap seconds not counted.
    microseconds
        How many microseconds one count is: 1e6 for seconds.

    Raises
    ------
    PayloadError
        If it is no finite number, or farther away than 64 bits can hold.
    """
    if type(value) is str and value.isascii() and "_" not in value:
        with contextlib.suppress(ValueError):
            value = int(value) if value.strip().lstrip("+-").isdecimal() else float(value)
    if type(value) is not float and type(value) is not int:
        raise PayloadError(f"{shown(value)} is no Unix time: a number is needed")
    # Whole counts stay exact: microseconds since 1970 are beyond what a float can hold in some centuries.
    scaled = value * int(microseconds) if type(value) is int else value * microseconds
    if not -_FARTHEST_US < scaled < _FARTHEST_US:
        raise PayloadError(f"{shown(value)} is no Unix time of our days: correct time_format or the board")
    return round(scaled)


def _unix_s(value: object) -> int:
    return unix_time_us(value, 1e6)


def _unix_ms(value: object) -> int:
    return unix_time_us(value, 1e3)


def _unix_us(value: object) -> int:
    return unix_time_us(value, 1.0)


TIME_FORMATS: MappingProxyType[str, Callable[[object], int]] = MappingProxyType(
    {"rfc3339": rfc3339_us, "unix_s": _unix_s, "unix_ms": _unix_ms, "unix_us": _unix_us}
)
