"""Planned works as an iCalendar file that any calendar reads, and `reading` reads again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event, vRecur

from collector.recurrence import RecurringWork


def write_works(works: Iterable[RecurringWork], now: datetime) -> bytes:
    """Write works, each as one event; the same work bears the same UID each time it is written.

    Parameters
    ----------
    now
        When the file is made, in UTC.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Brinebell//planned works//EN")
    calendar.add("version", "2.0")
    for work in works:
        calendar.add_component(_event(work, now))
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def _event(work: RecurringWork, now: datetime) -> Event:
    zone = ZoneInfo(work.time_zone)
    event = Event()
    digest = hashlib.sha256(repr(work).encode()).hexdigest()[:32]
    event.add("uid", f"{digest}@brinebell")
    event.add("dtstamp", now)
    event.add("summary", work.kind.replace("_", " ").capitalize())
    event.add("categories", [work.kind])
    event.add("dtstart", _at(work.starts, zone))
    event.add("duration", timedelta(microseconds=work.lasts_us))
    if work.repeats:
        event.add("rrule", _rule(work, zone))
    if work.without:
        event.add("exdate", [_at(one, zone) for one in work.without])
    return event


def _rule(work: RecurringWork, zone: ZoneInfo) -> vRecur:
    rule: vRecur = vRecur.from_ical(work.repeats)
    # Where DTSTART has a zone, UNTIL is in UTC (RFC 5545, 3.3.10).
    rule["UNTIL"] = [
        (one.replace(tzinfo=zone).astimezone(UTC) if isinstance(one, datetime) else one)
        for one in rule.get("UNTIL", [])
    ]
    if not rule["UNTIL"]:
        del rule["UNTIL"]
    return rule


def _at(wall: datetime, zone: ZoneInfo) -> datetime:
    if zone.key == "UTC":
        return wall.replace(tzinfo=UTC)
    return wall.replace(tzinfo=zone)
