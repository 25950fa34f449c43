"""People: over which channels, when it is night for them, and when they are away.

Nights and days of absence follow the clock on the tank's wall, also over its changes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from collector.configuration import Configuration
from rules import MICROSECONDS, Priority

_DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who is told.

    Parameters
    ----------
    channels
        Names of channels by priority; none: this person is not told of that.
    night
        Minutes since midnight at which it begins and ends; the same twice is no night.
    rings_at_night
        Priorities that do not wait until morning.
    away
        First and last day of each absence, both included.
    """

    name: str
    channels: Mapping[Priority, tuple[str, ...]]
    night: tuple[int, int] = (22 * 60, 7 * 60)
    rings_at_night: frozenset[Priority] = frozenset({Priority.URGENT})
    away: tuple[tuple[date, date], ...] = ()

    def is_away(self, at_us: int, zone: str) -> bool:
        """Whether somebody else is to be told."""
        day = _local(at_us, zone).date()
        return any(first <= day <= last for first, last in self.away)

    def night_ends_us(self, at_us: int, zone: str) -> int | None:
        """When the night that it is ends; None by day."""
        begin, end = self.night
        local = _local(at_us, zone)
        if (local.hour * 60 + local.minute - begin) % _DAY_MINUTES >= (end - begin) % _DAY_MINUTES:
            return None
        # An hour that the clock shows twice may hold the end twice: the one that is ahead counts.
        for days, fold in ((0, 0), (0, 1), (1, 0)):
            at = (local + timedelta(days=days)).replace(
                hour=end // 60, minute=end % 60, second=0, microsecond=0, fold=fold
            )
            if (ends_us := round(at.timestamp()) * MICROSECONDS) > at_us:
                return ends_us
        raise AssertionError("a day holds every time of the wall's clock")

    def morning_us(self, at_us: int, zone: str) -> int:
        """The next end of a night: of this one, or by day of the one to come."""
        ends_us = self.night_ends_us(at_us, zone)
        if ends_us is not None:
            return ends_us
        local = _local(at_us, zone)
        for days in (0, 1):
            at = (local + timedelta(days=days)).replace(
                hour=self.night[1] // 60, minute=self.night[1] % 60, second=0, microsecond=0, fold=0
            )
            if (ends_us := round(at.timestamp()) * MICROSECONDS) > at_us:
                return ends_us
        raise AssertionError("tomorrow has a morning")

    def can_be_rung(self, priority: Priority, at_us: int, zone: str) -> bool:
        """Whether a message of that priority need not wait for the morning."""
        return priority in self.rings_at_night or self.night_ends_us(at_us, zone) is None

    def told_from_us(self, priority: Priority, at_us: int, zone: str) -> int:
        """From when a message of that priority may be sent: at once, or in the morning."""
        return at_us if self.can_be_rung(priority, at_us, zone) else self.morning_us(at_us, zone)


def present(people: Sequence[Person], at_us: int, zone: str) -> Sequence[Person]:
    """Those who are not away; everybody if all are: an absence must not silence an alarm."""
    return [one for one in people if not one.is_away(at_us, zone)] or people


def people_of(
    configuration: Configuration, channel_names: Callable[[Sequence[str]], Sequence[str]]
) -> tuple[Person, ...]:
    """Those who can be told, in the order in which they are told; `channel_names` names addresses."""
    found = []
    for one in configuration.people:
        names = dict(zip(one.urls, channel_names(one.urls), strict=True))
        channels = {priority: tuple(names[url] for url in one.urls_for(priority)) for priority in Priority}
        if any(channels.values()):
            found.append(Person(one.name, channels, one.night, one.rings_at_night, one.away))
    return tuple(found)


def _local(at_us: int, zone: str) -> datetime:
    return datetime.fromtimestamp(at_us // MICROSECONDS, UTC).astimezone(ZoneInfo(zone))
