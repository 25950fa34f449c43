"""Round wall times on the axis of a chart, in the time zone of the tank."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from collector.axes import is_of_days, wall_step_s, wall_times
from collector.pages.moments import day_text, local, month_text, weekday_text
from rules import MICROSECONDS

_EDGE_PERCENT = 5.0


@dataclass(frozen=True, slots=True)
class Tick:
    """A place on an axis, in per cent from the left or the top, and what is written there."""

    at: float
    text: str


def time_ticks(start_us: int, end_us: int, time_zone: str, most: int = 6) -> tuple[Tick, ...]:
    """Round wall times of the tank's zone between two instants."""
    start, end = (local(at_us, time_zone) for at_us in (start_us, end_us))
    seconds = (end_us - start_us) / MICROSECONDS
    step = wall_step_s(seconds, most)
    found = []
    for at in _months(start, end, most) if step is None else wall_times(start, end, step):
        percent = round(100.0 * (round(at.timestamp()) * MICROSECONDS - start_us) / (end_us - start_us), 2)
        if not _EDGE_PERCENT <= percent <= 100 - _EDGE_PERCENT:
            continue
        if step is None:
            text = month_text(at)
        elif is_of_days(step):
            text = day_text(at)
        else:
            text = weekday_text(at) if at.hour == at.minute == 0 else f"{at:%H:%M}"
        found.append(Tick(percent, text))
    return tuple(found)


def _months(start: datetime, end: datetime, most: int) -> Iterable[datetime]:
    first = start.year * 12 + start.month - 1
    last = end.year * 12 + end.month - 1
    for month in range(first, last + 1, max(1, ceil((last - first) / most))):
        yield start.replace(year=month // 12, month=month % 12 + 1, day=1, hour=0, minute=0, second=0)
