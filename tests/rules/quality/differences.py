"""Where our flags differ from those of ioos_qc 3.0.0 on purpose: one table, a row for each situation.

A row names the flags that may stand side by side (ours, theirs), says by the readings alone which of them
it covers, gives its reason, and has a case that shows it. What no row covers must be equal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from rules import (
    HOUR_US,
    MICROSECONDS,
    AttenuatedSignalLimits,
    ClimatologyLimits,
    FlatLineLimits,
    GapLimits,
    RateOfChangeLimits,
    Season,
    SpikeLimits,
)
from rules.quality.flat_line import ROUNDING
from tests.rules.quality.library import MINUTE, START_US, Case, every, ours, theirs

NAN, INF = float("nan"), float("inf")
SECOND = MICROSECONDS
HOUR = HOUR_US
DAY = 24 * HOUR_US


@dataclass(frozen=True)
class Row:
    test: str
    situation: str
    pairs: frozenset[tuple[int, int]]
    reason: str
    covers: Callable[[Case], np.ndarray]
    case: Case

    @property
    def name(self) -> str:
        return f"{self.test}: {self.situation}"


def row(test, situation, pairs, reason, covers, case) -> Row:
    return Row(test, situation, frozenset(pairs), reason, covers, case)


def unexplained(case: Case, rows: Iterable[Row]) -> list[tuple[int, int, int]]:
    """Position, our flag and theirs of each reading whose difference no row covers."""
    mine, other = ours(case), theirs(case)
    differing = [place for place, (a, b) in enumerate(zip(mine, other, strict=True)) if a != b]
    if not differing:
        return []
    covered = [(one, one.covers(case)) for one in rows if one.test == case.test]
    return [
        (place, mine[place], other[place])
        for place in differing
        if not any(mask[place] and (mine[place], other[place]) in one.pairs for one, mask in covered)
    ]


def compared(case: Case) -> float:
    """Share of readings that no row covers: what the comparison says something of."""
    covered = np.zeros(len(case.values), bool)
    for one in ROWS:
        if one.test == case.test:
            covered |= one.covers(case)
    return float(1 - covered.mean())


# -- which readings a row covers ----------------------------------------------------------------------


def none(case: Case) -> np.ndarray:
    return np.zeros(len(case.values), bool)


def at(*places: int) -> Callable[[Case], np.ndarray]:
    def covers(case: Case) -> np.ndarray:
        mask = none(case)
        mask[list(places)] = True
        return mask

    return covers


def infinite(case: Case) -> np.ndarray:
    return case.infinite


def first_there(case: Case) -> np.ndarray:
    mask = none(case)
    mask[0] = True
    return mask


def behind_missing(case: Case) -> np.ndarray:
    mask = none(case)
    mask[1:] = case.missing[:-1]
    return mask


def behind_infinite(case: Case) -> np.ndarray:
    mask = none(case)
    mask[1:] = case.infinite[:-1]
    return mask


def behind_gap(case: Case) -> np.ndarray:
    return case.is_behind_gap


def beside_gap(case: Case) -> np.ndarray:
    mask = case.is_behind_gap.copy()
    there = np.flatnonzero(np.isfinite(case.array))
    mask[there[:-1]] |= case.is_behind_gap[there[1:]]
    return mask


def has_zero(case: Case) -> np.ndarray:
    return np.full(len(case.values), 0 in (case.limits.suspect, case.limits.fail))


def part_of_a_second(case: Case) -> np.ndarray:
    step = np.diff(case.times, prepend=case.times[:1])
    return (step >= SECOND) & (step % SECOND != 0)


def below_a_second(case: Case) -> np.ndarray:
    step = np.diff(case.times, prepend=case.times[:1])
    mask = (step > 0) & (step < SECOND)
    mask[0] = False
    return mask


def has_fail_level(case: Case) -> np.ndarray:
    return np.full(len(case.values), "fail_threshold" in case.theirs)


def late(case: Case) -> np.ndarray:
    newest = np.maximum.accumulate(case.times)
    mask = none(case)
    mask[1:] = case.times[1:] <= newest[:-1]
    return mask


def behind_late(case: Case) -> np.ndarray:
    mask = none(case)
    mask[1:] = late(case)[:-1]
    return mask


def _counts(case: Case) -> list[tuple[int, int, float]]:
    """Threshold in seconds and in their readings, and their interval, for both levels of a flat line."""
    interval = float(np.median(np.diff(case.times)) // SECOND)
    thresholds = (case.limits.suspect_after_us // SECOND, case.limits.fail_after_us // SECOND)
    return [(threshold, int(threshold / interval), interval) for threshold in thresholds]


def _windows(case: Case) -> Iterable[tuple[int, int, int, float, int]]:
    """Place, first place, threshold, interval and count of each of their windows."""
    if len(case.values) < 3:
        return
    for threshold, count, interval in _counts(case):
        for place in range(count, len(case.values)):
            yield place, place - count, threshold, interval, count


def equal_to_tolerance(case: Case) -> np.ndarray:
    mask = none(case)
    for place, start, *_ in _windows(case):
        window = case.array[start : place + 1]
        window = window[np.isfinite(window)]
        if len(window):
            mask[place] |= abs(np.ptp(window) - case.limits.tolerance) <= ROUNDING
    return mask


def record_begins(case: Case) -> np.ndarray:
    there = np.isfinite(case.array)
    start_us = case.times[there][0] if there.any() else case.times[-1]
    return case.times - start_us < case.limits.suspect_after_us


def since_gap(within_us: Callable[[Case], int]) -> Callable[[Case], np.ndarray]:
    def covers(case: Case) -> np.ndarray:
        mask = none(case)
        for gap in np.flatnonzero(case.is_behind_gap):
            since = case.times - case.times[gap]
            mask |= (since >= 0) & (since < within_us(case))
        return mask

    return covers


def uneven(case: Case) -> np.ndarray:
    mask = none(case)
    for place, start, _, interval, count in _windows(case):
        mask[place] |= case.times[place] - case.times[start] != count * interval * SECOND
    if len(case.values) >= 3:
        # Their first windows do not exist, however long those readings took.
        for threshold, count, _ in _counts(case):
            mask[:count] |= case.times[:count] - case.times[0] >= threshold * SECOND
    return mask & ~since_gap(lambda case: case.limits.fail_after_us)(case)


def between_counts(case: Case) -> np.ndarray:
    mask = none(case)
    for place, _, threshold, interval, count in _windows(case):
        mask[place] |= count > 0 and threshold != count * interval
    return mask


def no_count(case: Case) -> np.ndarray:
    mask = none(case)
    for place, _, _, _, count in _windows(case):
        mask[place] |= count == 0
    return mask


def begins_with_missing(case: Case) -> np.ndarray:
    mask = none(case)
    for place, start, *_ in _windows(case):
        mask[place] |= not np.isfinite(case.array[start])
    return mask


def under_three(case: Case) -> np.ndarray:
    return np.full(len(case.values), len(case.values) < 3)


def not_filled(case: Case) -> np.ndarray:
    there = np.isfinite(case.array)
    start_us = case.times[there][0] if there.any() else case.times[-1]
    return case.times - start_us < case.limits.window_us


def missing_within(case: Case) -> np.ndarray:
    mask = none(case)
    if case.limits.method == "range":
        for gone in case.times[~np.isfinite(case.array)]:
            mask |= (case.times >= gone) & (case.times - gone < case.limits.window_us)
    return mask


def missing_by_period(case: Case) -> np.ndarray:
    with_attribute = any(season.period not in ("week", "instant") for season in case.limits.seasons)
    return case.missing & with_attribute


def wraps(case: Case) -> np.ndarray:
    return np.full(len(case.values), any(season.first > season.last for season in case.limits.seasons))


def on_another_day(case: Case) -> np.ndarray:
    zone = ZoneInfo(case.limits.time_zone)
    at_utc = [datetime.fromtimestamp(time_us / 1e6, UTC) for time_us in case.times_us]
    return np.array([one.astimezone(zone).hour != one.hour for one in at_utc], bool)


# -- the table ----------------------------------------------------------------------------------------

SPIKE = SpikeLimits(0.5, 1.5)
RATE = RateOfChangeLimits(3600.0)
FLAT = FlatLineLimits(0.0625, 3 * MINUTE, 5 * MINUTE)
RANGE = AttenuatedSignalLimits(5 * MINUTE, 1.0, 0.25)
VERDICTS = (1, 3, 4)


def season(period: str, first: int, last: int) -> ClimatologyLimits:
    return ClimatologyLimits(None, (Season(period, first, last, 0.0, 9.0),))


WINTER = ClimatologyLimits(None, (Season("day_of_year", 350, 20, 7.9, 8.1),))
NEW_YEAR_US = 1_798_761_600 * SECOND

ROWS = (
    row(
        "gap",
        "the first reading",
        {(1, 4)},
        "nothing precedes it; theirs copies the flag of the second",
        first_there,
        Case("gap", GapLimits(HOUR), [1.0, 1.0, 1.0], [0, 2 * HOUR, 2 * HOUR + MINUTE], 1 * HOUR),
    ),
    row(
        "spike",
        "the newest reading",
        {(1, 2)},
        "it is pending: its verdict comes with the next reading, and until then it carries no mark",
        lambda case: at(-1)(case) & np.isfinite(case.array),
        Case("spike", SPIKE, [0.0, 0.0, 0.0], every(MINUTE, 3)),
    ),
    row(
        "spike",
        "a threshold of zero",
        {(3, 1), (4, 1), (4, 3)},
        "zero is a limit; theirs takes it for not set",
        has_zero,
        Case("spike", SpikeLimits(0.0, None), [0.0, 0.25, 0.0, 0.0, 0.0], every(MINUTE, 5)),
    ),
    row(
        "spike",
        "a reading beside a gap",
        {(2, 1), (2, 3), (2, 4)},
        "what lies beyond an outage is no neighbour; theirs knows no time",
        beside_gap,
        Case(
            "spike",
            SPIKE,
            [0.0, 0.0, 0.0, 2.0, 2.0, 2.0, 2.0],
            [*every(MINUTE, 3), *every(MINUTE, 4, START_US + HOUR)],
            10 * MINUTE,
        ),
    ),
    row(
        "spike",
        "an infinite reading",
        {(2, 9)},
        "it is there, and fails the gross range; missing is what is not there",
        infinite,
        Case("spike", SPIKE, [0.0, 0.0, INF, 0.0, 0.0, 0.0], every(MINUTE, 6)),
    ),
    row(
        "rate_of_change",
        "the first reading",
        {(2, 1)},
        "it cannot be judged, therefore it has not passed",
        lambda case: first_there(case) & np.isfinite(case.array),
        Case("rate_of_change", RATE, [0.0, 0.0, 0.0], every(MINUTE, 3)),
    ),
    row(
        "rate_of_change",
        "a reading behind a missing one",
        {(2, 1)},
        "it cannot be judged, therefore it has not passed",
        behind_missing,
        Case("rate_of_change", RATE, [0.0, 0.0, NAN, 600.0, 600.0], every(MINUTE, 5)),
    ),
    row(
        "rate_of_change",
        "a reading behind an infinite one",
        {(2, 1), (2, 3)},
        "it cannot be judged, therefore it has not passed, and water did not move from infinity",
        behind_infinite,
        Case("rate_of_change", RATE, [0.0, 0.0, INF, 0.0, 0.0], every(MINUTE, 5)),
    ),
    row(
        "rate_of_change",
        "a reading behind a gap",
        {(2, 1), (2, 3)},
        "a rate over an outage would be invented",
        behind_gap,
        Case("rate_of_change", RATE, [0.0, 0.0, 0.0], [0, MINUTE, HOUR], 10 * MINUTE),
    ),
    row(
        "rate_of_change",
        "an interval with part of a second",
        {(1, 3)},
        "time is time; theirs cuts intervals to whole seconds, which makes rates greater",
        part_of_a_second,
        Case("rate_of_change", RATE, [0.0, 1.5, 3.0], every(1_750_000, 3)),
    ),
    row(
        "rate_of_change",
        "an interval of less than a second",
        {(1, 3), (3, 1)},
        "theirs cuts it to zero, and then takes the change itself for the rate",
        below_a_second,
        Case("rate_of_change", RATE, [0.0, 0.75, 1.0], every(500_000, 3)),
    ),
    row(
        "rate_of_change",
        "a second level",
        {(3, 4)},
        "the manual has no fail level in this test",
        has_fail_level,
        Case(
            "rate_of_change", RATE, [0.0, 0.0, 600.0, 600.0], every(MINUTE, 4), theirs={"fail_threshold": 3.0}
        ),
    ),
    row(
        "rate_of_change",
        "an infinite reading",
        {(2, 9)},
        "it is there, and fails the gross range; missing is what is not there",
        infinite,
        Case("rate_of_change", RATE, [0.0, 0.0, INF], every(MINUTE, 3)),
    ),
    row(
        "rate_of_change",
        "a reading that is late, or of the same instant",
        {(2, 1), (2, 3)},
        "it is stored and not judged, for the engine does not go back in time; theirs takes the time between "
        "for positive, and the change itself for the rate where there is none",
        late,
        Case(
            "rate_of_change",
            RATE,
            [0.0, 0.0, 600.0, 0.0, 7.0, 0.0],
            [0, 3 * MINUTE, 2 * MINUTE, 4 * MINUTE, 4 * MINUTE, 8 * MINUTE],
            is_late=True,
        ),
    ),
    row(
        "rate_of_change",
        "a reading behind a late one",
        {(1, 3), (3, 1)},
        "it is judged by the newest reading before it, not by the late one",
        behind_late,
        Case(
            "rate_of_change",
            RATE,
            [0.0, 0.0, 600.0, 0.0, 0.0],
            [0, 3 * MINUTE, 2 * MINUTE, 4 * MINUTE, 5 * MINUTE],
            is_late=True,
        ),
    ),
    row(
        "flat_line",
        "a span equal to the tolerance",
        {(3, 1), (4, 1), (4, 3)},
        "it is within the tolerance; theirs asks for less, so its default of 0 never flags",
        equal_to_tolerance,
        Case("flat_line", FlatLineLimits(0.0, 3 * MINUTE, 5 * MINUTE), [1.0, *[5.0] * 8], every(MINUTE, 9)),
    ),
    row(
        "flat_line",
        "the record begins",
        {(2, 1)},
        "less than suspect_after is known and nothing has moved yet: it cannot be judged",
        record_begins,
        Case("flat_line", FLAT, [5.0] * 8, every(MINUTE, 8)),
    ),
    row(
        "flat_line",
        "since a gap",
        {(2, 1), (2, 3), (2, 4), (1, 3), (1, 4), (3, 4)},
        "a gap breaks the run; theirs does not see it",
        since_gap(lambda case: case.limits.fail_after_us),
        Case(
            "flat_line",
            FLAT,
            [5.0] * 10,
            [*every(MINUTE, 5), *every(MINUTE, 5, START_US + HOUR)],
            10 * MINUTE,
        ),
    ),
    row(
        "flat_line",
        "uneven intervals",
        {(a, b) for a in (1, 2, 3, 4) for b in VERDICTS if (a, b) != (2, 1)},
        "elapsed time is asked for; theirs turns it into a count of median intervals",
        uneven,
        Case(
            "flat_line",
            FLAT,
            [1.0, *[5.0] * 7],
            [0, *every(MINUTE, 4, MINUTE), *every(2 * MINUTE, 3, 6 * MINUTE)],
        ),
    ),
    row(
        "flat_line",
        "a threshold between two counts",
        {(1, 3), (1, 4), (2, 3), (2, 4), (3, 4)},
        "200 s are not over after three readings of a minute; theirs cuts to whole counts",
        between_counts,
        Case(
            "flat_line",
            FlatLineLimits(0.0625, 200 * SECOND, 320 * SECOND),
            [1.0, *[5.0] * 8],
            every(MINUTE, 9),
        ),
    ),
    row(
        "flat_line",
        "a threshold shorter than the interval",
        {(1, 3), (1, 4), (2, 3), (2, 4), (3, 4)},
        "one reading is no flat line; theirs counts to zero and flags every reading",
        no_count,
        Case(
            "flat_line",
            FlatLineLimits(0.0625, 30 * SECOND, 40 * SECOND),
            [1.0, 2.0, 3.0, 4.0],
            every(MINUTE, 4),
        ),
    ),
    row(
        "flat_line",
        "a window that begins with a missing reading",
        {(1, 3), (1, 4), (2, 3), (2, 4), (3, 4)},
        "what is not there has not stayed the same; theirs judges the shorter rest",
        begins_with_missing,
        Case("flat_line", FLAT, [1.0, 2.0, NAN, 5.0, 5.0, 5.0, 6.0], every(MINUTE, 7)),
    ),
    row(
        "flat_line",
        "fewer than three readings",
        {(2, 1), (3, 1), (4, 1)},
        "two equal readings four minutes apart are four minutes flat; theirs passes without looking",
        under_three,
        Case("flat_line", FLAT, [5.0, 5.0], every(4 * MINUTE, 2)),
    ),
    row(
        "flat_line",
        "a missing one of fewer than three readings",
        {(9, 1)},
        "missing is missing; theirs passes without looking",
        lambda case: under_three(case) & case.missing,
        Case("flat_line", FLAT, [5.0, NAN], every(MINUTE, 2)),
    ),
    row(
        "flat_line",
        "an infinite reading",
        {(2, 9)},
        "it is there, and fails the gross range; missing is what is not there",
        infinite,
        Case("flat_line", FLAT, [1.0, 2.0, INF, 3.0], every(MINUTE, 4)),
    ),
    row(
        "climatology",
        "a missing reading and a period of the calendar",
        {(9, 1)},
        "what is not there has not passed; theirs forgets the mask (of numpy and pandas as they are pinned)",
        missing_by_period,
        Case(
            "climatology",
            season("month", 1, 12),
            [1.0, NAN],
            every(MINUTE, 2),
        ),
    ),
    row(
        "climatology",
        "a season over the turn of the year",
        {(a, b) for a in (1, 2, 3, 4) for b in (1, 2, 3, 4)},
        "day 350 to day 20 is winter; theirs sorts the two, which is all but winter",
        wraps,
        Case("climatology", WINTER, [8.0, 8.0, 8.0], every(20 * DAY, 3, NEW_YEAR_US - 10 * DAY)),
    ),
    row(
        "climatology",
        "hours of a tank with a clock of its own",
        {(a, b) for a in (1, 2, 3, 4) for b in (1, 2, 3, 4)},
        "lights and people follow the clock on the wall; theirs takes UTC",
        on_another_day,
        Case(
            "climatology",
            ClimatologyLimits(None, (Season("hour", 6, 20, 0.0, 9.0),), "Africa/Nairobi"),
            [5.0] * 24,
            every(HOUR, 24),
        ),
    ),
    row(
        "climatology",
        "an infinite reading",
        {(2, 9), (2, 4), (2, 3), (2, 1)},
        "it is there, and fails the gross range; other tests have nothing to say of it",
        infinite,
        Case(
            "climatology",
            season("week", 1, 53),
            [1.0, INF],
            every(MINUTE, 2),
        ),
    ),
    row(
        "attenuated_signal",
        "a window that is not filled yet",
        {(2, 3), (2, 4)},
        "too little movement in less than the window says nothing; theirs fails the first reading",
        not_filled,
        Case("attenuated_signal", RANGE, [3.0, 3.125, 5.0, 5.0], every(MINUTE, 4)),
    ),
    row(
        "attenuated_signal",
        "since a gap",
        {(2, 3), (2, 4)},
        "the window is not filled again yet; theirs does not see the gap",
        since_gap(lambda case: case.limits.window_us),
        Case(
            "attenuated_signal",
            RANGE,
            [3.0, 5.0, 3.0, 5.0, 3.0, 3.0, 3.0],
            [*every(MINUTE, 4), *every(MINUTE, 3, START_US + HOUR)],
            10 * MINUTE,
        ),
    ),
    row(
        "attenuated_signal",
        "a missing reading within the range",
        {(1, 2), (3, 2), (4, 2)},
        "the others are judged; theirs has no answer for as long as the window",
        missing_within,
        Case("attenuated_signal", RANGE, [3.0, NAN, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0], every(MINUTE, 9)),
    ),
    row(
        "attenuated_signal",
        "an infinite reading",
        {(2, 9)},
        "it is there, and fails the gross range; missing is what is not there",
        infinite,
        Case("attenuated_signal", RANGE, [3.0, INF, 5.0], every(MINUTE, 3)),
    ),
)
