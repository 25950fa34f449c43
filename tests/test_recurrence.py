"""Recurring work against the worked examples of RFC 5545, 3.8.5.3, and across both changes of the clock."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import ConfigError
from collector.recurrence import RecurringWork
from rules import HOUR_US, MICROSECONDS


def work(repeats: str, starts: str = "1997-09-02 09:00", zone: str = "America/New_York") -> RecurringWork:
    at = datetime.fromisoformat(starts)
    return RecurringWork("reef", "feeding_pause", zone, at, HOUR_US // 4, repeats)


def us(local: str, zone: str = "America/New_York") -> int:
    return round(datetime.fromisoformat(local).replace(tzinfo=ZoneInfo(zone)).timestamp()) * MICROSECONDS


def begins(one: RecurringWork, first: str, last: str) -> list[str]:
    """On the wall, with the offset, as the RFC writes them."""
    zone = ZoneInfo(one.time_zone)
    found = one.between(us(first, one.time_zone), us(last, one.time_zone))
    return [
        f"{datetime.fromtimestamp(w.from_us / 1e6, UTC).astimezone(zone):%Y-%m-%d %H:%M %Z}" for w in found
    ]


# Worked examples of RFC 5545, section 3.8.5.3, which start in America/New_York: from memory of the standard.
EXAMPLES = [
    (
        "daily for 10 occurrences",
        "FREQ=DAILY;COUNT=10",
        "1997-09-02 09:00",
        [f"1997-09-{day:02d} 09:00 EDT" for day in range(2, 12)],
    ),
    (
        "every other day, over the end of summer time",
        "FREQ=DAILY;INTERVAL=2",
        "1997-09-02 09:00",
        ["1997-10-24 09:00 EDT", "1997-10-26 09:00 EST", "1997-10-28 09:00 EST"],
    ),
    (
        "weekly on Tuesday and Thursday for five weeks",
        "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
        "1997-09-02 09:00",
        [f"1997-09-{day:02d} 09:00 EDT" for day in (2, 4, 9, 11, 16, 18, 23, 25, 30)]
        + ["1997-10-02 09:00 EDT"],
    ),
    (
        "every other week, WKST=MO",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
        "1997-08-05 09:00",
        [f"1997-08-{day:02d} 09:00 EDT" for day in (5, 10, 19, 24)],
    ),
    (
        "every other week, WKST=SU",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
        "1997-08-05 09:00",
        [f"1997-08-{day:02d} 09:00 EDT" for day in (5, 17, 19, 31)],
    ),
    (
        "monthly on the first Friday for 10 occurrences",
        "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
        "1997-09-05 09:00",
        ["1997-09-05 09:00 EDT", "1997-10-03 09:00 EDT", "1997-11-07 09:00 EST", "1997-12-05 09:00 EST"],
    ),
    (
        "every Friday the 13th",
        "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
        "1997-09-02 09:00",
        ["1998-02-13 09:00 EST", "1998-03-13 09:00 EST", "1998-11-13 09:00 EST"],
    ),
]


@pytest.mark.parametrize(
    ("repeats", "starts", "expected"), [one[1:] for one in EXAMPLES], ids=[one[0] for one in EXAMPLES]
)
def test_worked_examples_of_the_standard(repeats, starts, expected):
    one = work(repeats, starts)
    first, last = expected[0][:16], expected[-1][:10] + " 23:59"
    assert begins(one, first, last) == expected


# What a keeper would write. The days were computed with python-dateutil, which works here too: no check from
# outside, but one can read them off a calendar.
@pytest.mark.parametrize(
    ("repeats", "starts", "days"),
    [
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=SA", "2026-01-03 10:00", ["01-03", "01-17", "01-31", "02-14"]),
        ("FREQ=MONTHLY;BYDAY=1SU", "2026-01-01 10:00", ["01-04", "02-01", "03-01"]),
        ("FREQ=MONTHLY;BYMONTHDAY=31", "2026-01-31 10:00", ["01-31", "03-31", "05-31", "07-31"]),
        ("FREQ=DAILY;UNTIL=20260103T080000", "2026-01-01 08:00", ["01-01", "01-02", "01-03"]),
    ],
)
def test_rules_of_a_keeper(repeats, starts, days):
    found = begins(work(repeats, starts, "UTC"), starts, f"2026-{days[-1]} 23:59")
    assert [one[5:10] for one in found] == days


def test_the_wall_clock_is_kept_when_summer_time_begins_and_ends():
    spring = work("FREQ=DAILY", "2026-03-28 09:00", "Europe/Berlin")
    assert begins(spring, "2026-03-28 00:00", "2026-03-30 00:00") == [
        "2026-03-28 09:00 CET",
        "2026-03-29 09:00 CEST",
    ]
    autumn = work("FREQ=DAILY", "2026-10-24 09:00", "Europe/Berlin")
    assert begins(autumn, "2026-10-24 00:00", "2026-10-26 00:00") == [
        "2026-10-24 09:00 CEST",
        "2026-10-25 09:00 CET",
    ]


def test_a_time_that_does_not_exist_or_exists_twice_is_read_as_the_standard_says():
    gap = work("FREQ=DAILY", "2026-03-28 02:30", "Europe/Berlin")
    # 02:30 with the offset from before the gap, +01:00, is 03:30 on the wall.
    assert begins(gap, "2026-03-29 00:00", "2026-03-30 00:00") == ["2026-03-29 03:30 CEST"]
    twice = work("FREQ=DAILY", "2026-10-24 02:30", "Europe/Berlin")
    assert begins(twice, "2026-10-25 00:00", "2026-10-26 00:00") == ["2026-10-25 02:30 CEST"]


def test_without_a_rule_it_comes_once_and_times_can_be_left_out_of_one():
    once = work("", "2026-03-28 09:00", "UTC")
    assert begins(once, "2026-01-01 00:00", "2027-01-01 00:00") == ["2026-03-28 09:00 UTC"]
    assert begins(once, "2026-03-29 00:00", "2027-01-01 00:00") == []
    left_out = replace(
        work("FREQ=DAILY;COUNT=3", "2026-03-28 09:00", "UTC"), without=(datetime(2026, 3, 29, 9),)
    )
    found = begins(left_out, "2026-01-01 00:00", "2027-01-01 00:00")
    assert found == ["2026-03-28 09:00 UTC", "2026-03-30 09:00 UTC"]


@pytest.mark.parametrize(
    ("repeats", "why"),
    [
        (";", "FREQ is one of DAILY, WEEKLY, MONTHLY, YEARLY"),
        ("FREQ=MINUTELY", "FREQ is one of DAILY"),
        ("FREQ=WEEKLY;BYDAY=XX", "no rule of RFC 5545"),
        ("FREQ=WEEKLY;UNTIL=soon", "no rule of RFC 5545"),
        ("FREQ=DAILY;COUNT=3;UNTIL=20260103T080000", "exclude each other"),
        ("FREQ=DAILY;UNTIL=20260103T080000Z", "UNTIL without Z"),
    ],
)
def test_what_is_no_rule_says_how_it_is_written(repeats, why):
    with pytest.raises(ConfigError, match=why):
        work(repeats)


@given(
    st.sampled_from(["FREQ=DAILY", "FREQ=WEEKLY;BYDAY=MO,TH", "FREQ=DAILY;BYHOUR=8,20;BYMINUTE=0"]),
    st.lists(st.integers(0, 14 * 24 * 60), min_size=2, max_size=6, unique=True).map(sorted),
)
def test_a_range_cut_anywhere_gives_the_same_works(repeats, minutes):
    one = work(repeats, "2026-03-20 08:00", "Europe/Berlin")
    start_us = us("2026-03-21 00:00", "Europe/Berlin")
    edges = [start_us + minute * 60 * MICROSECONDS for minute in minutes]
    whole = one.between(edges[0], edges[-1])
    parts = [w for a, b in pairwise(edges) for w in one.between(a, b)]
    assert tuple(parts) == whole
    assert all(edges[0] <= w.from_us < edges[-1] and w.to_us - w.from_us == HOUR_US // 4 for w in whole)
