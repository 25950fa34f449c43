"""The figures themselves: a pure function of alarm events, rings and a stretch of time.

An alarm counts each time it is raised. Ten-minute periods are those of the clock, beginning at the epoch.
"""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from rules import HOUR_US, MICROSECONDS, AlarmEvent, AlarmKey, AlarmRaised, Priority

DAY_US = 24 * HOUR_US
PERIOD_US = HOUR_US // 6
# A flood begins with more than ten alarms in ten minutes and ends with fewer than five (EEMUA 191, ISA-18.2,
# as secondary texts quote them).
FLOOD_BEGINS, FLOOD_ENDS = 10, 5
# The usual way to find a chattering alarm: three times or more within a minute.
CHATTERS, CHATTERS_WITHIN_US = 3, 60 * MICROSECONDS
# "Within seconds, without anybody's doing": no source says how many; a minute is our own measure.
FLEETING_US = 60 * MICROSECONDS
STALE_US = DAY_US
# When people sleep: common practice, no source.
NIGHT_BEGINS, NIGHT_ENDS = 22, 7


class Ring(NamedTuple):
    """A message about an incident that was delivered to somebody and was no quiet one."""

    at_us: int
    tank: str


class _Time(NamedTuple):
    """One time that an alarm was active; `to_us` is None while it still is."""

    alarm: AlarmKey
    from_us: int
    to_us: int | None


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures of a stretch of time; shares are from 0 to 1, None where there is nothing to take a share of.

    Parameters
    ----------
    from_us, to_us, days
        The stretch.
    alarms, a_day, a_period
        How many alarms, and averages a day and in ten minutes.
    peak
        Most alarms in a ten-minute period.
    flood_periods, flood_time
        Shares of the ten-minute periods with more than ten alarms, and of those from the beginning of a flood
        to its end.
    chattering, fleeting
        Alarms that came three times or more within a minute, and times that one was gone within a minute.
    stale, standing
        Most alarms on one day that had been active for more than 24 hours, and alarms active at the end.
    priorities
        Share of each priority.
    top
        The most frequent causes with their shares, at most ten.
    night_rings, night_rings_a_week
        Rings between 22 and 7 on the tank's wall.
    acknowledged, median_s, slowest_s
        How many alarms were acknowledged, and how long that took in the middle and at most; None where
        nothing was.
    """

    from_us: int
    to_us: int
    days: float
    alarms: int
    a_day: float
    a_period: float
    peak: int
    flood_periods: float
    flood_time: float
    chattering: int
    fleeting: int
    stale: int
    standing: int
    priorities: Mapping[Priority, float | None]
    top: Sequence[tuple[str, float]]
    night_rings: int
    night_rings_a_week: float
    acknowledged: int
    median_s: float | None
    slowest_s: float | None


def figures_of(
    events: Iterable[AlarmEvent],
    rings: Iterable[Ring],
    from_us: int,
    to_us: int,
    zones: Mapping[str, str],
    acknowledged_after_us: Sequence[int] = (),
) -> Figures:
    """Take the figures of [from_us, to_us).

    Parameters
    ----------
    events
        Until `to_us` and from long before `from_us`, so that what stood then is known; in any order.
    zones
        Tank -> time zone; another tank's nights are those of UTC.
    acknowledged_after_us
        How long after it was raised each alarm was acknowledged that was.

    Raises
    ------
    ValueError
        If the stretch is empty.
    """
    if from_us >= to_us:
        raise ValueError(f"no figures of an empty stretch: {from_us} to {to_us}")
    ordered = sorted(events, key=lambda event: event.at_us)
    raised = [one for one in ordered if isinstance(one, AlarmRaised) and from_us <= one.at_us < to_us]
    counts = _periods(raised, from_us, to_us)
    days = (to_us - from_us) / DAY_US
    times = list(_times(ordered, to_us))
    causes = Counter(one.alarm.cause for one in raised)
    at_night = sum(_is_night(one, zones) for one in rings if from_us <= one.at_us < to_us)
    seconds = sorted(one / MICROSECONDS for one in acknowledged_after_us)
    return Figures(
        from_us=from_us,
        to_us=to_us,
        days=days,
        alarms=len(raised),
        a_day=len(raised) / days,
        a_period=len(raised) / len(counts),
        peak=max(counts),
        flood_periods=sum(count > FLOOD_BEGINS for count in counts) / len(counts),
        flood_time=_flood_periods(counts) / len(counts),
        chattering=_chattering(raised),
        fleeting=sum(
            one.to_us is not None and from_us <= one.from_us and one.to_us - one.from_us <= FLEETING_US
            for one in times
        ),
        stale=_most_stale(times, from_us, to_us),
        standing=sum(one.to_us is None for one in times),
        priorities={
            priority: sum(one.priority is priority for one in raised) / len(raised) if raised else None
            for priority in Priority
        },
        top=[(cause, count / len(raised)) for cause, count in causes.most_common(10)],
        night_rings=at_night,
        night_rings_a_week=at_night / days * 7,
        acknowledged=len(seconds),
        median_s=statistics.median(seconds) if seconds else None,
        slowest_s=seconds[-1] if seconds else None,
    )


def _periods(raised: Sequence[AlarmRaised], from_us: int, to_us: int) -> list[int]:
    """How many alarms each ten-minute period holds."""
    first, last = from_us // PERIOD_US, (to_us - 1) // PERIOD_US
    counts = [0] * (last - first + 1)
    for one in raised:
        counts[one.at_us // PERIOD_US - first] += 1
    return counts


def _flood_periods(counts: Sequence[int]) -> int:
    """How many periods lie in a flood; the one that ends it does not."""
    total, is_flood = 0, False
    for count in counts:
        is_flood = count > FLOOD_BEGINS or (is_flood and count >= FLOOD_ENDS)
        total += is_flood
    return total


def _chattering(raised: Sequence[AlarmRaised]) -> int:
    by_alarm: dict[AlarmKey, list[int]] = {}
    for one in raised:
        by_alarm.setdefault(one.alarm, []).append(one.at_us)
    return sum(
        any(later - first <= CHATTERS_WITHIN_US for first, later in zip(at, at[CHATTERS - 1 :], strict=False))
        for at in by_alarm.values()
    )


def _times(ordered: Iterable[AlarmEvent], to_us: int) -> Iterable[_Time]:
    """Every time that an alarm was active, until `to_us`."""
    active: dict[AlarmKey, int] = {}
    for event in ordered:
        if event.at_us >= to_us:
            continue
        if isinstance(event, AlarmRaised):
            active.setdefault(event.alarm, event.at_us)
        elif event.alarm in active:
            yield _Time(event.alarm, active.pop(event.alarm), event.at_us)
    for alarm, since_us in active.items():
        yield _Time(alarm, since_us, None)


def _most_stale(times: Iterable[_Time], from_us: int, to_us: int) -> int:
    """The most alarms on any one day that were active for more than 24 hours by then."""
    days: Counter[int] = Counter()
    for one in times:
        begin = max(from_us, one.from_us + STALE_US)
        end = to_us if one.to_us is None else one.to_us
        if begin < end:
            # Days are counted from the beginning of the stretch.
            days.update(range((begin - from_us) // DAY_US, (end - 1 - from_us) // DAY_US + 1))
    return max(days.values(), default=0)


def _is_night(ring: Ring, zones: Mapping[str, str]) -> bool:
    at = datetime.fromtimestamp(ring.at_us // MICROSECONDS, UTC)
    hour = at.astimezone(ZoneInfo(zones.get(ring.tank, "UTC"))).hour
    return hour >= NIGHT_BEGINS or hour < NIGHT_ENDS
