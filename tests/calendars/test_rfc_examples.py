"""The worked examples of RFC 5545, section 3.8.5.3 ("Recurrence Rule"), from memory of the standard.

All of them that come daily or more seldom, read from a calendar file; they begin at 09:00 in America/New_York.
"""

# ruff: noqa: E501 - one row an example
from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from collector.calendars import read_works
from rules import MICROSECONDS

WEEKDAYS = "MO,TU,WE,TH,FR"
NEW_YORK = ZoneInfo("America/New_York")


def days(text: str) -> list[str]:
    """ "1997-09: 2 4-6; 10: 1" as dates; a month without a year is of the year before it."""
    found, year = [], ""
    for part in text.split(";"):
        month, _, numbers = part.strip().partition(":")
        if "-" in month:
            year, month = month.split("-")
        for number in numbers.split():
            first, _, last = number.partition("-")
            found += [f"{year}-{month}-{day:02d}" for day in range(int(first), int(last or first) + 1)]
    return found


# Title of the RFC, DTSTART, RRULE, and its list, to the end where it has one.
EXAMPLES = [
    ("daily for 10 occurrences", "19970902", "FREQ=DAILY;COUNT=10", "1997-09: 2-11"),
    (
        "daily until December 24, 1997",
        "19970902",
        "FREQ=DAILY;UNTIL=19971224T000000Z",
        "1997-09: 2-30; 10: 1-31; 11: 1-30; 12: 1-23",
    ),
    (
        "every other day, forever",
        "19970902",
        "FREQ=DAILY;INTERVAL=2",
        "1997-09: 2 4 6 8 10 12 14 16 18 20 22 24 26 28 30; 10: 2 4 6 8 10 12 14 16 18 20 22 24 26 28 30; 11: 1 3 5 7",
    ),
    (
        "every 10 days, 5 occurrences",
        "19970902",
        "FREQ=DAILY;INTERVAL=10;COUNT=5",
        "1997-09: 2 12 22; 10: 2 12",
    ),
    (
        "every day in January, for 3 years",
        "19980101",
        "FREQ=YEARLY;UNTIL=20000131T140000Z;BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA",
        "1998-01: 1-31; 1999-01: 1-31; 2000-01: 1-31",
    ),
    (
        "the same, daily",
        "19980101",
        "FREQ=DAILY;UNTIL=20000131T140000Z;BYMONTH=1",
        "1998-01: 1-31; 1999-01: 1-31; 2000-01: 1-31",
    ),
    (
        "weekly for 10 occurrences",
        "19970902",
        "FREQ=WEEKLY;COUNT=10",
        "1997-09: 2 9 16 23 30; 10: 7 14 21 28; 11: 4",
    ),
    (
        "weekly until December 24, 1997",
        "19970902",
        "FREQ=WEEKLY;UNTIL=19971224T000000Z",
        "1997-09: 2 9 16 23 30; 10: 7 14 21 28; 11: 4 11 18 25; 12: 2 9 16 23",
    ),
    (
        "every other week, forever",
        "19970902",
        "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
        "1997-09: 2 16 30; 10: 14 28; 11: 11 25; 12: 9 23; 1998-01: 6 20; 02: 3 17",
    ),
    (
        "weekly on Tuesday and Thursday for five weeks",
        "19970902",
        "FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH",
        "1997-09: 2 4 9 11 16 18 23 25 30; 10: 2",
    ),
    (
        "every other week on Monday, Wednesday and Friday",
        "19970901",
        "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
        "1997-09: 1 3 5 15 17 19 29; 10: 1 3 13 15 17 27 29 31; 11: 10 12 14 24 26 28; 12: 8 10 12 22",
    ),
    (
        "every other week on Tuesday and Thursday, 8 occurrences",
        "19970902",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        "1997-09: 2 4 16 18 30; 10: 2 14 16",
    ),
    (
        "monthly on the first Friday for 10 occurrences",
        "19970905",
        "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
        "1997-09: 5; 10: 3; 11: 7; 12: 5; 1998-01: 2; 02: 6; 03: 6; 04: 3; 05: 1; 06: 5",
    ),
    (
        "monthly on the first Friday until December 24, 1997",
        "19970905",
        "FREQ=MONTHLY;UNTIL=19971224T000000Z;BYDAY=1FR",
        "1997-09: 5; 10: 3; 11: 7; 12: 5",
    ),
    (
        "every other month on the first and last Sunday",
        "19970907",
        "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
        "1997-09: 7 28; 11: 2 30; 1998-01: 4 25; 03: 1 29; 05: 3 31",
    ),
    (
        "monthly on the second-to-last Monday",
        "19970922",
        "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO",
        "1997-09: 22; 10: 20; 11: 17; 12: 22; 1998-01: 19; 02: 16",
    ),
    (
        "monthly on the third-to-the-last day",
        "19970928",
        "FREQ=MONTHLY;BYMONTHDAY=-3",
        "1997-09: 28; 10: 29; 11: 28; 12: 29; 1998-01: 29; 02: 26",
    ),
    (
        "monthly on the 2nd and 15th",
        "19970902",
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15",
        "1997-09: 2 15; 10: 2 15; 11: 2 15; 12: 2 15; 1998-01: 2 15",
    ),
    (
        "monthly on the first and last day",
        "19970930",
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
        "1997-09: 30; 10: 1 31; 11: 1 30; 12: 1 31; 1998-01: 1 31; 02: 1",
    ),
    (
        "every 18 months on the 10th thru 15th",
        "19970910",
        "FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15",
        "1997-09: 10-15; 1999-03: 10-13",
    ),
    (
        "every Tuesday, every other month",
        "19970902",
        "FREQ=MONTHLY;INTERVAL=2;BYDAY=TU",
        "1997-09: 2 9 16 23 30; 11: 4 11 18 25; 1998-01: 6 13 20 27; 03: 3 10 17 24 31",
    ),
    (
        "yearly in June and July",
        "19970610",
        "FREQ=YEARLY;COUNT=10;BYMONTH=6,7",
        "1997-06: 10; 07: 10; 1998-06: 10; 07: 10; 1999-06: 10; 07: 10; 2000-06: 10; 07: 10; 2001-06: 10; 07: 10",
    ),
    (
        "every other year on January, February and March",
        "19970310",
        "FREQ=YEARLY;INTERVAL=2;COUNT=10;BYMONTH=1,2,3",
        "1997-03: 10; 1999-01: 10; 02: 10; 03: 10; 2001-01: 10; 02: 10; 03: 10; 2003-01: 10; 02: 10; 03: 10",
    ),
    (
        "every third year on the 1st, 100th and 200th day",
        "19970101",
        "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200",
        "1997-01: 1; 04: 10; 07: 19; 2000-01: 1; 04: 9; 07: 18; 2003-01: 1; 04: 10; 07: 19; 2006-01: 1",
    ),
    (
        "every 20th Monday of the year",
        "19970519",
        "FREQ=YEARLY;BYDAY=20MO",
        "1997-05: 19; 1998-05: 18; 1999-05: 17",
    ),
    (
        "Monday of week number 20",
        "19970512",
        "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
        "1997-05: 12; 1998-05: 11; 1999-05: 17",
    ),
    (
        "every Thursday in March",
        "19970313",
        "FREQ=YEARLY;BYMONTH=3;BYDAY=TH",
        "1997-03: 13 20 27; 1998-03: 5 12 19 26; 1999-03: 4 11 18 25",
    ),
    (
        "every Thursday, but only in June, July and August",
        "19970605",
        "FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8",
        "1997-06: 5 12 19 26; 07: 3 10 17 24 31; 08: 7 14 21 28; 1998-06: 4 11 18 25",
    ),
    (
        "every Friday the 13th",
        "19970902",
        "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
        "1998-02: 13; 03: 13; 11: 13; 1999-08: 13; 2000-10: 13",
    ),
    (
        "the first Saturday that follows the first Sunday",
        "19970913",
        "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
        "1997-09: 13; 10: 11; 11: 8; 12: 13; 1998-01: 10; 02: 7; 03: 7; 04: 11; 05: 9; 06: 13",
    ),
    (
        "every 4 years, the first Tuesday after a Monday in November",
        "19961105",
        "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
        "1996-11: 5; 2000-11: 7; 2004-11: 2",
    ),
    (
        "the third instance of Tuesday, Wednesday or Thursday",
        "19970904",
        "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3",
        "1997-09: 4; 10: 7; 11: 6",
    ),
    (
        "the second-to-last weekday of the month",
        "19970929",
        f"FREQ=MONTHLY;BYDAY={WEEKDAYS};BYSETPOS=-2",
        "1997-09: 29; 10: 30; 11: 27; 12: 30; 1998-01: 29; 02: 26; 03: 30",
    ),
    ("WKST=MO", "19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997-08: 5 10 19 24"),
    ("WKST=SU", "19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997-08: 5 17 19 31"),
    (
        "an invalid date (February 30) is ignored",
        "20070115",
        "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
        "2007-01: 15 30; 02: 15; 03: 15 30",
    ),
]


@pytest.mark.parametrize(
    ("begins", "rule", "listed"), [one[1:] for one in EXAMPLES], ids=[one[0] for one in EXAMPLES]
)
def test_worked_examples_of_the_standard(begins: str, rule: str, listed: str) -> None:
    # The RFC leaves the 2nd of September out of the Fridays.
    without = "EXDATE;TZID=America/New_York:19970902T090000\r\n" if rule[-13:] == "BYMONTHDAY=13" else ""
    text = (
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nUID:1\r\nCATEGORIES:feeding_pause\r\n"
        f"DTSTART;TZID=America/New_York:{begins}T090000\r\nDURATION:PT15M\r\n{without}RRULE:{rule}\r\n"
        "END:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    read = read_works(text, "reef", "UTC")
    assert read.problems == ()
    (work,) = read.works
    expected = days(listed)
    # Where the standard's list goes on, it is looked at as far as it is written.
    has_end = re.search("COUNT|UNTIL", rule)
    last = datetime(2010, 1, 1, tzinfo=UTC) if has_end else datetime.fromisoformat(f"{expected[-1]}T23:00Z")
    found = work.between(0, round(last.timestamp()) * MICROSECONDS)
    local = [datetime.fromtimestamp(one.from_us / MICROSECONDS, UTC).astimezone(NEW_YORK) for one in found]
    assert [f"{one:%Y-%m-%d}" for one in local] == expected
    assert {f"{one:%H:%M}" for one in local} == {"09:00"}
