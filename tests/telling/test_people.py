"""Nights and absences on the tank's wall, also where the clock is put forward and back.

The days of the changes are those of the European Union's directive 2000/84/EC: the last Sundays of March and
October, at 01:00 UTC.
"""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import HOUR_US, Priority
from tests.telling.parts import MINUTE, NOON, ZONE, at, person

NIGHT = {"night": (22 * 60, 7 * 60)}


@pytest.mark.parametrize(
    ("when", "ends"),
    [
        ("2026-05-06 21:59", None),
        ("2026-05-06 22:00", "2026-05-07 07:00"),
        ("2026-05-06 23:59", "2026-05-07 07:00"),
        ("2026-05-07 00:00", "2026-05-07 07:00"),
        ("2026-05-07 06:59", "2026-05-07 07:00"),
        ("2026-05-07 07:00", None),
    ],
)
def test_a_night_begins_and_ends_on_the_wall(when, ends):
    assert person("sam", **NIGHT).night_ends_us(at(when), ZONE) == (ends and at(ends))


@pytest.mark.parametrize(("evening", "hours"), [("2026-03-28", 8), ("2026-05-06", 9), ("2026-10-24", 10)])
def test_a_night_over_a_change_of_the_clock_is_an_hour_shorter_or_longer(evening, hours):
    begin_us = at(f"{evening} 22:00")
    assert person("sam", **NIGHT).night_ends_us(begin_us, ZONE) == begin_us + hours * HOUR_US


def test_a_night_that_ends_in_the_hour_that_comes_twice_ends_the_first_time():
    sam = person("sam", night=(22 * 60, 2 * 60 + 30))
    assert sam.night_ends_us(at("2026-10-24 23:00"), ZONE) == at("2026-10-25 02:30")
    # The hour comes again, and 02:10 is night by the wall once more.
    again_us = at("2026-10-25 02:10") + HOUR_US
    assert sam.night_ends_us(again_us, ZONE) == again_us + 20 * MINUTE


def test_a_night_that_ends_in_the_hour_that_is_left_out_ends_when_the_clock_is_past_it():
    sam = person("sam", night=(22 * 60, 2 * 60 + 30))
    # RFC 5545, 3.3.5: a local time that does not exist is read with the offset from before the gap.
    assert sam.night_ends_us(at("2026-03-28 23:00"), ZONE) == at("2026-03-29 03:30")


def test_a_night_of_the_same_time_twice_is_none():
    assert person("sam", night=(0, 0)).night_ends_us(at("2026-05-06 00:00"), ZONE) is None


def test_a_night_within_a_day_for_who_works_at_night():
    sam = person("sam", night=(9 * 60, 17 * 60))
    assert sam.night_ends_us(NOON, ZONE) == at("2026-05-06 17:00")
    assert sam.night_ends_us(at("2026-05-06 23:00"), ZONE) is None


@pytest.mark.parametrize(
    ("when", "is_away"),
    [
        ("2026-05-02 23:59", False),
        ("2026-05-03 00:00", True),
        ("2026-05-17 23:59", True),
        ("2026-05-18 00:00", False),
    ],
)
def test_both_days_of_an_absence_belong_to_it(when, is_away):
    sam = person("sam", away=((date(2026, 5, 3), date(2026, 5, 17)),))
    assert sam.is_away(at(when), ZONE) is is_away


def test_what_rings_at_night_is_the_persons_choice():
    night = at("2026-05-06 23:00")
    sam = person("sam", rings_at_night=frozenset({Priority.URGENT}))
    assert [sam.can_be_rung(one, night, ZONE) for one in Priority] == [True, False, False]
    assert [sam.can_be_rung(one, NOON, ZONE) for one in Priority] == [True, True, True]


ZONES = st.sampled_from(["UTC", ZONE, "Australia/Lord_Howe", "America/St_Johns", "Pacific/Apia"])
MINUTES = st.integers(0, 24 * 60 - 1)


@given(st.integers(1_700_000_000, 1_900_000_000), st.tuples(MINUTES, MINUTES), ZONES)
def test_every_night_ends_ahead_and_within_a_day_and_an_hour(second, night, zone):
    sam, now_us = person("sam", night=night), second * 1_000_000
    ends_us = sam.night_ends_us(now_us, zone)
    if ends_us is not None:
        assert now_us < ends_us <= now_us + 26 * HOUR_US
    assert now_us < sam.morning_us(now_us, zone) <= now_us + 26 * HOUR_US
