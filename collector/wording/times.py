"""Instants and durations as a person says them, in the tank's time zone."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from rules import HOUR_US, MICROSECONDS

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
# A time on the clock face means the nearest one: within half a day of now it needs no weekday.
_NEAR_US = 12 * HOUR_US
# A weekday means the nearest one of its name: farther off it needs the date.
_WEEK_US = 6 * 24 * HOUR_US
_MINUTE_US = HOUR_US // 60


def clock_text(at_us: int, now_us: int, time_zone: str) -> str:
    """Return an instant as "02:30", "Tue 02:30" or, a week off, "3 Mar".

    The weekday is left out on the same local day and within twelve hours. At most two words and nine
    characters.
    """
    zone = ZoneInfo(time_zone)
    at, now = _local(at_us, zone), _local(now_us, zone)
    if at.date() == now.date() or abs(at_us - now_us) < _NEAR_US:
        return f"{at:%H:%M}"
    if abs(at_us - now_us) < _WEEK_US:
        return f"{_DAYS[at.weekday()]} {at:%H:%M}"
    return f"{at.day} {_MONTHS[at.month - 1]}"


def moment_text(at_us: int, time_zone: str) -> str:
    """Return an instant as "2026-03-07 02:30": for reports, which may be of any year."""
    return f"{_local(at_us, ZoneInfo(time_zone)):%Y-%m-%d %H:%M}"


def duration_text(duration_us: int) -> str:
    """Return a duration as "35 min", "3 h 5 min" or "4 days"."""
    minutes = duration_us // _MINUTE_US
    if minutes < 1:
        return "under 1 min"
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"
    return f"{minutes // (24 * 60)} days"


def _local(at_us: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(at_us // MICROSECONDS, UTC).astimezone(zone)
