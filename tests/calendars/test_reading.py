"""Calendar files as people's calendars write them: what is read, and what is named with its line."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from collector.calendars import Read, read_works
from collector.errors import ConfigError
from rules import MICROSECONDS

HEAD = ["BEGIN:VCALENDAR", "VERSION:2.0"]
FEEDING = ["UID:a", "SUMMARY:Feeding pause", "DTSTART;TZID=Europe/Berlin:20260103T180000", "DURATION:PT15M"]


def read(*events: list[str], end: str = "\r\n") -> Read:
    lines = [*HEAD]
    for event in events:
        lines += ["BEGIN:VEVENT", *event, "END:VEVENT"]
    return read_works(end.join([*lines, "END:VCALENDAR", ""]), "reef", "Africa/Nairobi")


def begins(found: Read, first: str = "2026-01-01", last: str = "2027-01-01") -> list[str]:
    edges = [
        round(datetime.fromisoformat(f"{day}T00:00Z").timestamp()) * MICROSECONDS for day in (first, last)
    ]
    works = sorted(work.from_us for one in found.works for work in one.between(edges[0], edges[1]))
    return [f"{datetime.fromtimestamp(at / MICROSECONDS, UTC):%Y-%m-%dT%H:%MZ}" for at in works]


@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_one_that_comes_once(end: str) -> None:
    found = read(FEEDING, end=end)
    assert found.problems == ()
    (work,) = found.works
    assert (work.tank, work.kind, work.time_zone, work.repeats) == (
        "reef",
        "feeding_pause",
        "Europe/Berlin",
        "",
    )
    assert work.lasts_us == 15 * 60 * MICROSECONDS
    assert begins(found) == ["2026-01-03T17:00Z"]


@pytest.mark.parametrize(
    ("start", "expected"),
    [
        ("DTSTART:20260103T180000Z", "2026-01-03T18:00Z"),
        ("DTSTART:20260103T180000", "2026-01-03T15:00Z"),  # floating: on the wall of Nairobi, UTC+3
        ("DTSTART;TZID=America/New_York:20260703T180000", "2026-07-03T22:00Z"),
        ("DTSTART;TZID=W. Europe Standard Time:20260103T180000", "2026-01-03T17:00Z"),
    ],
)
def test_times_in_utc_floating_and_in_zones(start: str, expected: str) -> None:
    assert begins(read(["UID:a", "SUMMARY:Feeding pause", start, "DURATION:PT15M"])) == [expected]


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("CATEGORIES:Tank,WATER CHANGE", "water_change"),
        ("CATEGORIES:probe-cleaning", "probe_cleaning"),
        ("SUMMARY:Big weekly Water\\, then change of filter", "water_change"),
        ("SUMMARY:equipment service", "equipment_service"),
    ],
)
def test_the_kind_is_in_categories_or_in_the_words_of_the_summary(said: str, kind: str) -> None:
    assert [one.kind for one in read(["UID:a", said, *FEEDING[2:]]).works] == [kind]


def test_an_end_says_how_long_as_well_as_a_duration_also_over_a_change_of_the_clock() -> None:
    event = [*FEEDING[:2], "DTSTART;TZID=Europe/Berlin:20260329T013000"]
    found = read([*event, "DTEND;TZID=Europe/Berlin:20260329T033000"])
    # 02:00 becomes 03:00 meanwhile: an hour by the sun.
    assert [one.lasts_us for one in found.works] == [3600 * MICROSECONDS]


def test_dates_that_are_left_out_and_dates_that_are_added() -> None:
    rule = "RRULE:FREQ=DAILY;COUNT=4"
    found = read(
        [
            *FEEDING,
            rule,
            "EXDATE;TZID=Europe/Berlin:20260104T180000,20260105T180000",
            "RDATE:20260201T170000Z",
        ]
    )
    assert begins(found) == ["2026-01-03T17:00Z", "2026-01-06T17:00Z", "2026-02-01T17:00Z"]


def test_one_time_that_was_moved_and_one_that_was_called_off() -> None:
    found = read(
        [*FEEDING, "RRULE:FREQ=DAILY;COUNT=3"],
        [
            *FEEDING[:2],
            "RECURRENCE-ID;TZID=Europe/Berlin:20260104T180000",
            "DTSTART;TZID=Europe/Berlin:20260104T200000",
            "DURATION:PT15M",
        ],
        [*FEEDING, "STATUS:CANCELLED", "RECURRENCE-ID;TZID=Europe/Berlin:20260105T180000"],
    )
    assert found.problems == ()
    assert begins(found) == ["2026-01-03T17:00Z", "2026-01-04T19:00Z"]


@pytest.mark.parametrize(
    ("until", "last"),
    [
        ("20260105T170000Z", "2026-01-05T17:00Z"),
        ("20260105T165959Z", "2026-01-04T17:00Z"),
        ("20260105", "2026-01-05T17:00Z"),  # a day holds all its times
    ],
)
def test_an_end_in_utc_or_as_a_day(until: str, last: str) -> None:
    assert begins(read([*FEEDING, f"RRULE:FREQ=DAILY;UNTIL={until}"]))[-1] == last


# Lines begin with 1 at BEGIN:VCALENDAR; the event's own begin with 4.
@pytest.mark.parametrize(
    ("event", "line", "told"),
    [
        ([FEEDING[0], "SUMMARY:Dentist", *FEEDING[2:]], 5, '"Dentist" names no kind of work'),
        (FEEDING[:3], 6, "how long it takes is not said"),
        (FEEDING[:2], 3, "there is no DTSTART"),
        (
            [*FEEDING[:2], "DTSTART;VALUE=DATE:20260103", "DURATION:PT15M"],
            6,
            "is a day: work begins at a time",
        ),
        ([*FEEDING[:3], "DURATION:P2D"], 7, "a day at most"),
        ([*FEEDING[:3], "DTEND;TZID=Europe/Berlin:20260103T170000"], 7, "more than nothing"),
        ([*FEEDING, "RRULE:FREQ=HOURLY"], 8, "FREQ is one of DAILY"),
        ([*FEEDING, "RRULE:FREQ=DAILY", "RRULE:FREQ=WEEKLY"], 8, "several RRULE"),
        ([*FEEDING, "RRULE:FREQ=SOMETIMES"], 8, "RRULE"),
        ([*FEEDING[:2], "DTSTART:tomorrow", "DURATION:PT15M"], 6, "DTSTART"),
        ([*FEEDING, "RDATE;VALUE=DATE:20260104"], 8, "RDATE 2026-01-04 is no time"),
    ],
)
def test_what_cannot_be_read_is_named_with_its_line_and_the_rest_is_read(
    event: list[str], line: int, told: str
) -> None:
    found = read(event, [*FEEDING, "UID:b"])
    ((at, reason),) = found.problems
    assert (at, told in reason) == (line, True), found.problems
    assert [one.kind for one in found.works] == ["feeding_pause"]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "hello",
        "<html></html>",
        "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:a\r\nEND:VEVENT\r\n",
        "BEGIN:VEVENT\r\nEND:VEVENT\r\n",
    ],
)
def test_what_is_no_calendar_says_so(text: str) -> None:
    with pytest.raises(ConfigError, match="no iCalendar file"):
        read_works(text, "reef", "UTC")
