"""Summer time: whatever the clock on the wall does, nights end, and fits are due once a night.

Zones with an hour, half an hour and a change at midnight; the instants are those of the IANA data themselves.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.learning.when import next_refit_us
from collector.telling import Person
from rules import HOUR_US, MICROSECONDS

ZONES = ("UTC", "Europe/Lisbon", "America/Santiago", "Australia/Lord_Howe", "Africa/Cairo", "Asia/Kathmandu")
_BEGIN = datetime(2026, 1, 1, tzinfo=UTC)


def local(at_us: int, zone: str) -> datetime:
    return datetime.fromtimestamp(at_us / MICROSECONDS, UTC).astimezone(ZoneInfo(zone))


def changes_us(zone: str) -> list[int]:
    """The instants of two years at which the clock on the wall jumps: whole quarters of an hour."""

    def offset(at: datetime) -> timedelta | None:
        return at.astimezone(ZoneInfo(zone)).utcoffset()

    found = []
    for day in (_BEGIN + timedelta(days=days) for days in range(2 * 365)):
        if offset(day) != offset(day + timedelta(days=1)):
            quarters = [day + timedelta(minutes=15 * number) for number in range(97)]
            at = next(two for one, two in pairwise(quarters) if offset(one) != offset(two))
            found.append(round(at.timestamp()) * MICROSECONDS)
    return found


CHANGES = {zone: changes_us(zone) or [round(_BEGIN.timestamp()) * MICROSECONDS] for zone in ZONES}
near = st.sampled_from(ZONES).flatmap(
    lambda zone: st.tuples(
        st.just(zone), st.sampled_from(CHANGES[zone]), st.integers(-48 * HOUR_US, 48 * HOUR_US)
    ).map(lambda one: (one[0], one[1] + one[2]))
)


def test_the_zones_here_do_change_their_clocks() -> None:
    assert {zone for zone in ZONES if len(CHANGES[zone]) >= 4} == set(ZONES) - {"UTC", "Asia/Kathmandu"}


@settings(max_examples=50)
@given(near)
def test_the_next_fit_is_due_within_a_day_and_in_the_night(instant: tuple[str, int]) -> None:
    zone, at_us = instant
    due_us = next_refit_us(at_us, zone)
    assert at_us < due_us <= at_us + 25 * HOUR_US
    # Where the wall's clock skips half past three, it is the instant that would have been it.
    assert local(due_us, zone).strftime("%H:%M") in ("03:30", "04:30", "04:00")
    following_us = next_refit_us(due_us, zone)
    assert 22 * HOUR_US < following_us - due_us < 26 * HOUR_US


@settings(max_examples=50)
@given(near, st.integers(0, 1439), st.integers(0, 1439))
def test_a_night_that_it_is_ends_and_by_day_then(instant: tuple[str, int], begin: int, end: int) -> None:
    zone, at_us = instant
    person = Person("sam", {}, night=(begin, end))
    ends_us = person.night_ends_us(at_us, zone)
    if ends_us is None:
        return
    assert at_us < ends_us <= at_us + 25 * HOUR_US
    # Told at that moment, nobody is told to wait again.
    assert person.night_ends_us(ends_us, zone) is None or (end - begin) % 1440 > 1440 - 120


@pytest.mark.parametrize("zone", ZONES)
def test_the_engine_reads_the_same_time_off_the_wall_as_the_system(zone: str) -> None:
    from rules.local_time import wall_clock_us

    times_us = np.array(
        [change + minutes * 60 * MICROSECONDS for change in CHANGES[zone] for minutes in range(-180, 181, 7)]
    )
    shown = wall_clock_us(times_us, zone)
    for at_us, wall_us in zip(times_us.tolist(), shown.tolist(), strict=True):
        naive = datetime(1970, 1, 1) + timedelta(microseconds=wall_us)
        assert naive == local(at_us, zone).replace(tzinfo=None)
