"""When is it night at a tank? What is learned is fitted at half past three on its wall.

By then lights and people rest, and the clock's own changes are over in most places.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from collector.learning.recorded import HeatStanding, Standing
from collector.learning.tasks import Tasks
from rules import HOUR_US

_HOUR, _MINUTE = 3, 30


def next_refit_us(after_us: int, time_zone: str) -> int:
    """The next instant after this one at which it is half past three on the tank's wall."""
    local = datetime.fromtimestamp(after_us / 1e6, UTC).astimezone(ZoneInfo(time_zone))
    for days in (0, 1):
        at = (local + timedelta(days=days)).replace(
            hour=_HOUR, minute=_MINUTE, second=0, microsecond=0, fold=0
        )
        if (at_us := round(at.timestamp()) * 1_000_000) > after_us:
            return at_us
    return after_us + 24 * HOUR_US


def first_refits_us(
    tasks: Tasks,
    standing: Mapping[int, Standing],
    heat: Mapping[str, HeatStanding],
    now_us: int,
    *,
    recorded_us: tuple[int, int] | None,
) -> dict[str, int]:
    """When the first fit of each time zone is due after a start: in the night after its last one.

    Where nothing was ever fitted that is at once, if the readings, recorded or imported, reach over a day: of
    less nothing can be learned. `recorded_us` are the instants of the first and the last one.
    """
    has_history = recorded_us is not None and recorded_us[1] - recorded_us[0] >= 24 * HOUR_US
    found = {}
    for zone in tasks.zones:
        own = tasks.of_zones({zone})
        fitted_us = [
            *(standing[task.series].fitted_us for task in own.series if task.series in standing),
            *(heat[task.tank].fitted_us for task in own.tanks if task.tank in heat),
        ]
        if fitted_us:
            found[zone] = next_refit_us(max(fitted_us), zone)
        else:
            found[zone] = now_us if has_history else next_refit_us(now_us, zone)
    return found
