"""Fixed spans by the calendar: which one holds in a quarter of an hour?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from types import MappingProxyType
from zoneinfo import ZoneInfo

from rules.setup import HOUR_US, MICROSECONDS, Season

# All clock changes of the last decades fall on a quarter of an hour, and so do all periods of a calendar.
QUARTER_US = HOUR_US // 4
_PERIODS: MappingProxyType[str, Callable[[datetime], int]] = MappingProxyType(
    {
        "year": lambda at: at.year,
        "quarter": lambda at: (at.month + 2) // 3,
        "month": lambda at: at.month,
        "week": lambda at: at.isocalendar().week,
        "day_of_year": lambda at: at.timetuple().tm_yday,
        "day": lambda at: at.day,
        "weekday": lambda at: at.weekday(),
        "hour": lambda at: at.hour,
    }
)


def season_at(seasons: Sequence[Season], time_zone: str, time_us: int) -> tuple[Season | None, int]:
    """Return the last of the seasons that hold at an instant, None for none, and until when this is so.

    That is the end of the quarter of an hour at the latest, excluded.
    """
    start_us = time_us - time_us % QUARTER_US
    until_us = start_us + QUARTER_US
    local = datetime.fromtimestamp(start_us // MICROSECONDS, UTC).astimezone(ZoneInfo(time_zone))
    found = None
    for season in seasons:
        if season.period == "instant":
            now = time_us
            for bound_us in (season.first, season.last + 1):
                if time_us < bound_us < until_us:
                    until_us = bound_us
        else:
            now = _PERIODS[season.period](local)
        if season.first <= season.last:
            holds = season.first <= now <= season.last
        else:
            holds = now >= season.first or now <= season.last
        if holds:
            found = season
    return found, until_us
