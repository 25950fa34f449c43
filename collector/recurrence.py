"""Work that comes once or again and again, by the rules of RFC 5545, on the clock of the tank's wall.

A daily feeding stays at 18:00 when the clocks are put forward. A local time that does not exist then is read
with the offset from before the gap, and one that exists twice is the first of the two (RFC 5545, 3.3.5).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from collector.errors import ConfigError
from rules import MICROSECONDS, PlannedWork

if TYPE_CHECKING:
    from dateutil.rrule import rrule

# Beyond a day nothing is planned at once, and no zone is farther from UTC.
_MARGIN = timedelta(days=2)
# What comes more often is no work; and years of minutes would take long to count.
FREQUENCIES = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")


@dataclass(frozen=True, slots=True)
class RecurringWork:
    """Work of a kind that begins at `starts`, on the wall, and again as `repeats` says.

    Parameters
    ----------
    starts
        Without a zone: the time on the wall in `time_zone`.
    lasts_us
        Microseconds, on the clock that knows no summer time.
    repeats
        The value of an RRULE, such as "FREQ=WEEKLY;BYDAY=SA"; UNTIL is a time on the wall. Empty: it
        comes once.
    without
        Times on the wall at which it would come and does not.

    Raises
    ------
    ConfigError
        If `repeats` is no such rule.
    """

    tank: str
    kind: str
    time_zone: str
    starts: datetime
    lasts_us: int
    repeats: str
    without: tuple[datetime, ...] = ()

    def __post_init__(self) -> None:
        self._rule()

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> RecurringWork:
        """Make one from its fields as JSON has them."""
        starts = datetime.fromisoformat(values["starts"])
        without = tuple(datetime.fromisoformat(one) for one in values["without"])
        return cls(**{**values, "starts": starts, "without": without})

    def between(self, from_us: int, to_us: int) -> tuple[PlannedWork, ...]:
        """Works that begin in [from_us, to_us), in order of time."""
        zone = ZoneInfo(self.time_zone)
        first, last = (
            datetime.fromtimestamp(at_us // MICROSECONDS, UTC).replace(tzinfo=None)
            for at_us in (from_us, to_us)
        )
        found = []
        for local in self._local(first - _MARGIN, last + _MARGIN):
            begin_us = round(local.replace(tzinfo=zone).timestamp()) * MICROSECONDS
            if from_us <= begin_us < to_us:
                found.append(PlannedWork(self.tank, self.kind, begin_us, begin_us + self.lasts_us))
        return tuple(found)

    def _local(self, first: datetime, last: datetime) -> Iterable[datetime]:
        """Times on the wall from `first` to `last` at which it comes."""
        rule = self._rule()
        found = [self.starts] if rule is None else rule.between(first, last, inc=True)
        return (one for one in found if first <= one <= last and one not in self.without)

    def _rule(self) -> rrule | None:
        from dateutil.rrule import rrule, rrulestr

        if not self.repeats:
            return None
        parts = [part.partition("=") for part in self.repeats.upper().split(";")]
        frequency = next((value for name, _, value in parts if name == "FREQ"), "")
        if frequency not in FREQUENCIES:
            raise ConfigError(
                f'FREQ is one of {", ".join(FREQUENCIES)}: write it like "FREQ=WEEKLY;BYDAY=SA"'
            )
        if {"COUNT", "UNTIL"} <= {name for name, _, _ in parts}:
            raise ConfigError("COUNT and UNTIL exclude each other: keep one of them")
        try:
            rule = rrulestr(f"RRULE:{self.repeats}", dtstart=self.starts)
        except (ValueError, KeyError, TypeError) as error:
            raise ConfigError(
                f'no rule of RFC 5545 ({error}): write it like "FREQ=WEEKLY;BYDAY=SA"; UNTIL without Z'
            ) from error
        if not isinstance(rule, rrule):
            raise ConfigError('one rule is needed: write it like "FREQ=WEEKLY;BYDAY=SA"')
        return rule
