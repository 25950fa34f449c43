"""The figures of a stretch of two days that was worked out by hand, and their laws."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.performance import Ring, as_object, as_text, figures_of
from rules import HOUR_US, AlarmEvent, AlarmKey, AlarmRaised, AlarmReturned, Priority

SECOND = 1_000_000
MINUTE = 60 * SECOND
DAY = 24 * HOUR_US
# 2026-03-01 00:00 UTC, a whole day since the epoch.
START = 20_513 * DAY
ZONES = {"reef": "Europe/Berlin"}


def key(cause: str, series: str = "temperature") -> AlarmKey:
    return AlarmKey("reef", series, cause)


def raised(
    at_us: int, cause: str, priority: Priority = Priority.LOW, series: str = "temperature"
) -> AlarmRaised:
    return AlarmRaised(at_us, key(cause, series), priority, at_us, (series,))


def returned(at_us: int, cause: str, series: str = "temperature") -> AlarmReturned:
    return AlarmReturned(at_us, key(cause, series))


def two_days() -> list[AlarmEvent]:
    """Worked by hand, see the test below for what follows."""
    events: list[AlarmEvent] = [
        # Stood since two days before the stretch, to its end: stale on both days.
        raised(START - 2 * DAY, "probe_stuck"),
        # Active from 01:00 of the first day to 02:00 of the second: stale in its last hour.
        raised(START + HOUR_US, "leak", Priority.HIGH),
        returned(START + 26 * HOUR_US, "leak"),
    ]
    # Twelve alarms of twelve probes in one period, then six, then four: a flood of two periods.
    for period, count in enumerate((12, 6, 4)):
        for number in range(count):
            at_us = START + 3 * HOUR_US + period * 10 * MINUTE + number * SECOND
            series = f"s{period}_{number}"
            events += [raised(at_us, "probe_silent", series=series)]
            events += [returned(at_us + 5 * MINUTE, "probe_silent", series=series)]
    # Three times within a minute, each gone within ten seconds: one chattering alarm, three times fleeting.
    for number in range(3):
        at_us = START + 30 * HOUR_US + number * 30 * SECOND
        events += [raised(at_us, "over_limit", Priority.URGENT)]
        events += [returned(at_us + 10 * SECOND, "over_limit")]
    # Behind the stretch: not counted.
    events += [raised(START + 2 * DAY, "leak", Priority.HIGH)]
    return events


# 20:30 and 21:30 UTC are 21:30 and 22:30 in Berlin in winter; 05:59 is 06:59, 06:00 is 07:00.
RINGS = [
    Ring(START + 20 * HOUR_US + 30 * MINUTE, "reef"),
    Ring(START + 21 * HOUR_US + 30 * MINUTE, "reef"),
    Ring(START + DAY + 6 * HOUR_US - MINUTE, "reef"),
    Ring(START + DAY + 6 * HOUR_US, "reef"),
    Ring(START + 3 * DAY, "reef"),
]


def test_two_days_that_were_worked_out_by_hand() -> None:
    found = figures_of(
        two_days(), RINGS, START, START + 2 * DAY, ZONES, [60 * SECOND, 600 * SECOND, 120 * SECOND]
    )
    # leak 1, probe_silent 12 + 6 + 4 = 22, over_limit 3.
    assert found.alarms == 26
    assert found.a_day == 13
    assert found.a_period == pytest.approx(26 / 288)  # 2 days of 144 periods
    assert found.peak == 12
    assert found.flood_periods == pytest.approx(1 / 288)  # 12 > 10
    assert found.flood_time == pytest.approx(2 / 288)  # 12, then 6 >= 5; 4 ends it
    assert found.chattering == 1
    assert found.fleeting == 3
    assert found.stale == 2  # on the second day probe_stuck and, from 01:00 to 02:00, leak
    assert found.standing == 1
    assert found.priorities == {
        Priority.LOW: pytest.approx(22 / 26),
        Priority.HIGH: pytest.approx(1 / 26),
        Priority.URGENT: pytest.approx(3 / 26),
    }
    assert [(cause, round(share * 26)) for cause, share in found.top] == [
        ("probe_silent", 22),
        ("over_limit", 3),
        ("leak", 1),
    ]
    assert found.night_rings == 2
    assert found.night_rings_a_week == 7
    assert (found.acknowledged, found.median_s, found.slowest_s) == (3, 120, 600)


@pytest.mark.parametrize(("gap_s", "chattering"), [(29, 1), (30, 1), (31, 0)], ids=["under", "at", "over"])
def test_chattering_is_three_times_within_a_minute(gap_s: int, chattering: int) -> None:
    events = [raised(START + number * gap_s * SECOND, "leak") for number in range(3)]
    assert figures_of(events, [], START, START + DAY, ZONES).chattering == chattering


@pytest.mark.parametrize(("seconds", "fleeting"), [(59, 1), (60, 1), (61, 0)])
def test_fleeting_is_gone_within_a_minute(seconds: int, fleeting: int) -> None:
    events = [raised(START, "leak"), returned(START + seconds * SECOND, "leak")]
    assert figures_of(events, [], START, START + DAY, ZONES).fleeting == fleeting


@pytest.mark.parametrize(("hours", "stale"), [(23, 0), (24, 0), (25, 1)])
def test_stale_is_active_for_more_than_a_day(hours: int, stale: int) -> None:
    events = [raised(START, "leak"), returned(START + hours * HOUR_US, "leak")]
    assert figures_of(events, [], START, START + 3 * DAY, ZONES).stale == stale


@pytest.mark.parametrize(("count", "share"), [(10, 0), (11, 1)])
def test_a_flood_begins_with_more_than_ten(count: int, share: int) -> None:
    events = [raised(START + n * SECOND, "leak", series=f"s{n}") for n in range(count)]
    found = figures_of(events, [], START, START + 10 * MINUTE, ZONES)
    assert (found.flood_periods, found.flood_time) == (share, share)


def test_nothing_at_all_is_zeros_and_nothing_to_share() -> None:
    found = figures_of([], [], START, START + DAY, ZONES)
    assert (found.alarms, found.peak, found.flood_time, found.standing) == (0, 0, 0, 0)
    assert set(found.priorities.values()) == {None}
    assert "priority urgent" in as_text(found)
    assert as_object(found)["median_s_to_acknowledge"] is None
    with pytest.raises(ValueError, match="empty stretch"):
        figures_of([], [], START, START, ZONES)


times = st.lists(
    st.tuples(st.integers(-DAY, 3 * DAY), st.sampled_from(["leak", "over_limit"]), st.booleans()), max_size=60
)


@given(times, st.randoms())
def test_the_order_in_which_events_are_given_changes_nothing_and_shares_add_up(
    made: list[tuple[int, str, bool]], random: Any
) -> None:
    # One instant holds one event: what is raised and returned at once has no order of its own.
    unique = {at_us: (cause, is_raised) for at_us, cause, is_raised in made}
    events: list[AlarmEvent] = [
        raised(START + at_us, cause) if is_raised else returned(START + at_us, cause)
        for at_us, (cause, is_raised) in unique.items()
    ]
    found = figures_of(events, [], START, START + 2 * DAY, ZONES)
    random.shuffle(events)
    assert figures_of(events, [], START, START + 2 * DAY, ZONES) == found
    assert found.flood_periods <= found.flood_time <= 1
    if found.alarms:
        assert sum(one or 0 for one in found.priorities.values()) == pytest.approx(1)
        assert sum(share for _, share in found.top) == pytest.approx(1)
        assert found.peak * len(found.top) >= 1


def test_the_table_says_what_is_aimed_for_after_whom_and_how_few_days_it_is() -> None:
    text = as_text(figures_of(two_days(), RINGS, START, START + 2 * DAY, ZONES))
    assert text.splitlines()[0] == "26 alarms from 2026-03-01 00:00 to 2026-03-03 00:00 UTC"
    lines = [" ".join(line.split()) for line in text.splitlines()]
    for line in (
        "alarms a day 13.0 about 150 acceptable, 300 the most EEMUA 191, ISA-18.2 of 2009",
        "most alarms in 10 min 12 at most 10 EEMUA 191, ISA-18.2",
        "time to acknowledge, median not known -",
        "probe_silent 85%",
        "They are meant for 30 days or more: this is 2.0.",
    ):
        assert line in lines
