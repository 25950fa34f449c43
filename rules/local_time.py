"""Wall-clock time of a tank: lights and people follow the clock on the wall, also over its changes."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from rules.blocks import IntArray
from rules.setup import HOUR_US, MICROSECONDS

DAY_US = 24 * HOUR_US
# All clock changes of the last decades fall on a quarter of an hour.
QUARTER_US = HOUR_US // 4


@lru_cache(maxsize=8192)
def offset_us(time_zone: str, quarter: int) -> int:
    """Return by how much the clock on the wall is before UTC in a quarter of an hour, counted since 1970."""
    at = datetime.fromtimestamp(quarter * QUARTER_US // MICROSECONDS, UTC)
    offset = at.astimezone(ZoneInfo(time_zone)).utcoffset()
    return 0 if offset is None else round(offset.total_seconds()) * MICROSECONDS


def wall_clock_us(times_us: IntArray, time_zone: str) -> IntArray:
    """Return what the clock on the wall shows, as microseconds since its 1970, shape (n,)."""
    quarters, position = np.unique(times_us // QUARTER_US, return_inverse=True)
    offsets = np.array([offset_us(time_zone, int(quarter)) for quarter in quarters], np.int64)
    return times_us + offsets[position]


def time_of_day_us(times_us: IntArray, time_zone: str) -> IntArray:
    """Return microseconds since local midnight, shape (n,), for instants in microseconds since 1970 UTC."""
    return wall_clock_us(times_us, time_zone) % DAY_US


def weekday_of(day: int) -> int:
    """Return the weekday of a day counted since 1970-01-01, a Thursday: 0 is Monday."""
    return (day + 3) % 7


def hour_of_day(time_us: int, time_zone: str) -> float:
    """Return the hour of the clock on the wall, 0 <= hour < 24, at an instant."""
    return (time_us + offset_us(time_zone, time_us // QUARTER_US)) % DAY_US / HOUR_US
