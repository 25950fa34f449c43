"""Times are the tank's own, with a weekday where the nearest such time is not meant."""

from __future__ import annotations

import pytest

from collector.wording.times import clock_text, duration_text, moment_text
from tests.wording.example import at

NOW = at("2026-03-07T22:50:00")  # a Saturday, 23:50 in Madrid


@pytest.mark.parametrize(
    ("instant", "text"),
    [
        ("2026-03-07T22:50:00", "23:50"),
        ("2026-03-08T03:10:00", "04:10"),  # tonight, though tomorrow by the calendar
        ("2026-03-08T10:49:59", "11:49"),  # just under twelve hours ahead
        ("2026-03-08T10:50:00", "Sun 11:50"),  # at twelve hours
        ("2026-03-07T00:10:00", "01:10"),  # today, though most of a day ago
        ("2026-03-06T22:30:00", "Fri 23:30"),  # yesterday, a day ago
        ("2026-03-02T00:00:00", "Mon 01:00"),
        ("2026-03-01T22:49:00", "1 Mar"),  # a week off a weekday would mislead
    ],
)
def test_time_has_a_weekday_unless_today_or_tonight(instant: str, text: str) -> None:
    assert clock_text(at(instant), NOW, "Europe/Madrid") == text


def test_a_moment_of_a_report_has_its_date_in_the_tanks_zone() -> None:
    assert moment_text(at("2026-03-07T23:59:59"), "Europe/Madrid") == "2026-03-08 00:59"


def test_time_follows_the_wall_clock_over_its_change() -> None:
    # Madrid goes from UTC+1 to UTC+2 on 2026-03-29 at 01:00 UTC (tz database).
    night = at("2026-03-29T00:30:00")
    assert clock_text(night, night, "Europe/Madrid") == "01:30"
    assert clock_text(at("2026-03-29T01:30:00"), night, "Europe/Madrid") == "03:30"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "under 1 min"),
        (59, "under 1 min"),
        (60, "1 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (13_500, "3 h 45 min"),
        (172_799, "47 h 59 min"),
        (172_800, "2 days"),
    ],
)
def test_duration_in_words(seconds: int, text: str) -> None:
    assert duration_text(seconds * 1_000_000) == text
