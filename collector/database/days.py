"""A span of time, cut so that no answer is larger than a day's readings of one series."""

from __future__ import annotations

from collections.abc import Iterator

from rules import HOUR_US

_DAY_US = 24 * HOUR_US


def days(start_us: int, end_us: int) -> Iterator[tuple[int, int]]:
    """Half-open parts of a span, each a day at most; none of an empty one."""
    while start_us < end_us:
        next_us = min(start_us - start_us % _DAY_US + _DAY_US, end_us)
        yield start_us, next_us
        start_us = next_us
