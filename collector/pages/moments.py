"""Instants as a person reads them on a page, in the tank's time zone: short, full, and for machines."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from rules import HOUR_US, MICROSECONDS

_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
# A weekday means the nearest one of its name: farther off it needs the date.
_WEEK_US = 6 * 24 * HOUR_US
# A projection may reach any year; `datetime` ends with 9999, and a zone's offset needs a day's room.
_FIRST_S, _LAST_S = -62_135_596_800 + 86_400, 253_402_300_799 - 86_400


def local(at_us: int, time_zone: str) -> datetime:
    """Wall time beside the tank, to the second; instants that no calendar holds become its ends."""
    seconds = min(max(at_us // MICROSECONDS, _FIRST_S), _LAST_S)
    return datetime.fromtimestamp(seconds, UTC).astimezone(ZoneInfo(time_zone))


def day_and_clock(at_us: int, now_us: int, time_zone: str) -> str:
    """Return "14:02" on the same local day, "Tuesday 14:02" within six days, else "3 Mar 2026, 14:02"."""
    at, now = local(at_us, time_zone), local(now_us, time_zone)
    if at.date() == now.date():
        return f"{at:%H:%M}"
    if abs(at_us - now_us) < _WEEK_US:
        return f"{_DAYS[at.weekday()]} {at:%H:%M}"
    return f"{date_text(at)}, {at:%H:%M}"


def full(at_us: int, time_zone: str, *, seconds: bool = False) -> str:
    """Return "Tue 3 Mar 2026, 14:02", with seconds if asked for."""
    at = local(at_us, time_zone)
    clock = f"{at:%H:%M:%S}" if seconds else f"{at:%H:%M}"
    return f"{_DAYS[at.weekday()][:3]} {date_text(at)}, {clock}"


def date_text(at: datetime) -> str:
    """Return "3 Mar 2026"."""
    return f"{at.day} {_MONTHS[at.month - 1]} {at.year}"


def day_text(at: datetime) -> str:
    """Return "3 Mar"."""
    return f"{at.day} {_MONTHS[at.month - 1]}"


def month_text(at: datetime) -> str:
    """Return "Mar"."""
    return _MONTHS[at.month - 1]


def weekday_text(at: datetime) -> str:
    """Return "Tue"."""
    return _DAYS[at.weekday()][:3]


def rfc3339(at_us: int) -> str:
    """Return an instant in UTC as RFC 3339 writes it, to the microsecond."""
    at = local(at_us, "UTC")
    return f"{at:%Y-%m-%dT%H:%M:%S}.{at_us % MICROSECONDS:06d}Z"
