"""What is written is read again as it was, whatever it is; and another reader understands it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from collector.calendars import read_works, write_works
from collector.recurrence import RecurringWork
from rules import KINDS, MICROSECONDS

NOW = datetime(2026, 1, 1, tzinfo=UTC)
RULES = (
    "",
    "FREQ=DAILY",
    "FREQ=DAILY;COUNT=7",
    "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,TH;WKST=SU",
    "FREQ=MONTHLY;BYDAY=1SU,-1SU",
    "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
    "FREQ=YEARLY;BYMONTH=3;BYMONTHDAY=28,29,30",
    "FREQ=DAILY;UNTIL=20270101T120000",
)
minutes = st.integers(0, 365 * 24 * 60).map(lambda n: datetime(2026, 1, 1) + timedelta(minutes=n))


def works() -> st.SearchStrategy[RecurringWork]:
    made = st.builds(
        RecurringWork,
        st.just("reef"),
        st.sampled_from(sorted(KINDS)),
        st.sampled_from(
            ["UTC", "Europe/Berlin", "Africa/Nairobi", "America/New_York", "Australia/Lord_Howe"]
        ),
        minutes,
        st.integers(1, 24 * 60).map(lambda n: n * 60 * MICROSECONDS),
        st.sampled_from(RULES),
    )
    without = st.lists(minutes, max_size=2, unique=True).map(sorted).map(tuple)
    return st.tuples(made, without).map(lambda one: replace(one[0], without=one[1] if one[0].repeats else ()))


def begins(work: RecurringWork) -> tuple[object, ...]:
    return work.between(1_767_000_000 * MICROSECONDS, 1_830_000_000 * MICROSECONDS)


@given(st.lists(works(), max_size=4))
def test_what_is_written_is_read_again_as_it_was(some: list[RecurringWork]) -> None:
    read = read_works(write_works(some, NOW).decode(), "reef", "Asia/Tokyo")
    assert read.problems == ()
    for before, after in zip(some, read.works, strict=True):
        same = replace(after, repeats=before.repeats, without=before.without)
        assert same == before
        assert set(after.without) == set(before.without)
        assert begins(after) == begins(before)
    # And so on: the second file is the first.
    assert write_works(read.works, NOW).count(b"BEGIN:VEVENT") == len(some)


def test_a_file_is_whole_by_the_standard() -> None:
    """RFC 5545, 3.6: PRODID and VERSION once; 3.6.1: UID and DTSTAMP; 3.2.19: a TZID has its VTIMEZONE."""
    work = RecurringWork(
        "reef", "water_change", "Europe/Berlin", datetime(2026, 1, 3, 10), 45 * 60 * MICROSECONDS, RULES[1]
    )
    text = write_works([work], NOW).decode()
    assert "\n" not in text.replace("\r\n", "")
    (calendar,) = Calendar.from_ical(text, multiple=True)
    assert (calendar["VERSION"], "PRODID" in calendar) == ("2.0", True)
    assert [zone["TZID"] for zone in calendar.walk("VTIMEZONE")] == ["Europe/Berlin"]
    (event,) = calendar.walk("VEVENT")
    assert {"UID", "DTSTAMP", "DTSTART", "DURATION", "RRULE"} <= set(event)
    assert write_works([work], NOW + timedelta(days=9)).decode().count(str(event["UID"])) == 1


def test_until_is_written_in_utc_where_the_beginning_has_a_zone() -> None:
    """RFC 5545, 3.3.10: noon on the first of January in Berlin is eleven in UTC."""
    work = RecurringWork(
        "reef", "water_change", "Europe/Berlin", datetime(2026, 1, 3, 10), 60_000_000, RULES[-1]
    )
    assert b"UNTIL=20270101T110000Z" in write_works([work], NOW)
