"""Durations as people write them: "40 min", "1 h 30 min", "5 s", "2 days"."""

from __future__ import annotations

import difflib
import re
from decimal import Decimal
from types import MappingProxyType

from collector.errors import ConfigError

_SECOND = 1_000_000

# Spelling -> microseconds. Months and years are left out: they have no fixed length.
DURATION_SPELLINGS = MappingProxyType(
    {
        **dict.fromkeys(("us", "µs"), 1),
        "ms": 1000,
        **dict.fromkeys(("s", "sec", "second", "seconds"), _SECOND),
        **dict.fromkeys(("min", "minute", "minutes"), 60 * _SECOND),
        **dict.fromkeys(("h", "hour", "hours"), 3600 * _SECOND),
        **dict.fromkeys(("d", "day", "days"), 86_400 * _SECOND),
        **dict.fromkeys(("week", "weeks"), 7 * 86_400 * _SECOND),
    }
)

# A thousand years; beyond it, microseconds since 1970 no longer fit 64 bits with room to spare.
LONGEST_US = 365_250 * 86_400 * _SECOND

_PART = re.compile(r"\s*(\d+(?:\.\d+)?)\s*([^\W\d_]*)\s*")
_LIKE = 'write it like "40 min", "1 h 30 min", "5 s" or "2 days"'


def parse_duration(text: str) -> int:
    """Read a duration; return it in microseconds.

    Raises
    ------
    ConfigError
        If a number or its unit is missing, a unit is not known or stands there twice, or it is negative.
    """
    total, position, seen = Decimal(0), 0, set()
    while position < len(text):
        found = _PART.match(text, position)
        if found is None:
            raise ConfigError(f'"{text}" is no duration: {_LIKE}')
        unit_us = _unit(text, found[2])
        if unit_us in seen:
            raise ConfigError(f'"{text}" names "{found[2]}" twice: {_LIKE}')
        seen.add(unit_us)
        total += Decimal(found[1]) * unit_us
        position = found.end()
    if not seen:
        raise ConfigError(f"a duration is empty: {_LIKE}")
    if total > LONGEST_US:
        raise ConfigError(f'"{text}" is longer than a thousand years')
    return round(total)


def _unit(text: str, spelling: str) -> int:
    if not spelling:
        raise ConfigError(f'"{text}" lacks a unit of time: {_LIKE}')
    unit_us = DURATION_SPELLINGS.get(spelling)
    if unit_us is None:
        near = difflib.get_close_matches(spelling[:40], list(DURATION_SPELLINGS), n=1)
        meant = f'did you mean "{near[0]}"? ' if near else ""
        raise ConfigError(
            f'"{text}": "{spelling[:40]}" is no unit of time: {meant}accepted are '
            f"{', '.join(DURATION_SPELLINGS)}"
        )
    return unit_us
