"""Planned works out of an iCalendar file: its events, once or by their RRULE, in their own time zone.

A kind of work is found in CATEGORIES, or else in the words of SUMMARY. What cannot be read is named with its
line and left out; the rest is read. The types of icalendar are unions of everything, so events are taken for
`Any` here, and each value is looked at.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from icalendar import Calendar

from collector.errors import ConfigError
from collector.recurrence import RecurringWork
from rules import KINDS

_DAY = timedelta(days=1)


class Read(NamedTuple):
    """The works of a file, and what of it could not be read: line and reason."""

    works: tuple[RecurringWork, ...]
    problems: tuple[tuple[int, str], ...]


class _Place(NamedTuple):
    """Where an event stands: the number of its first line, and its lines."""

    first: int
    lines: Sequence[str]

    def of(self, name: str) -> int:
        """The line of a property, or the first one."""
        for number, line in enumerate(self.lines):
            if re.match(rf"{name}[;:]", line, re.IGNORECASE):
                return self.first + number
        return self.first


class _UnreadableError(Exception):
    """Why an event cannot be read, and at which of its properties."""

    def __init__(self, name: str, reason: str) -> None:
        super().__init__(reason)
        self.name = name


def read_works(text: str, tank: str, time_zone: str) -> Read:
    """Read the works of a tank.

    Parameters
    ----------
    text
        The file.
    time_zone
        Of the tank's wall, for times that bring none of their own ("floating", RFC 5545, 3.3.5).

    Raises
    ------
    ConfigError
        If it is no iCalendar file at all.
    """
    try:
        calendars: Any = Calendar.from_ical(text, multiple=True)
        events = [event for one in calendars for event in one.walk("VEVENT")]
    except (ValueError, IndexError, KeyError) as error:
        raise ConfigError(f"this is no iCalendar file (RFC 5545): {error}") from error
    # Half a file would take away what the other half planned.
    if not re.fullmatch(r"\s*BEGIN:VCALENDAR\s.*\sEND:VCALENDAR\s*", text, re.IGNORECASE | re.DOTALL):
        raise ConfigError(
            "this is no iCalendar file (RFC 5545): it begins with BEGIN:VCALENDAR and ends with END:VCALENDAR"
        )
    works: dict[tuple[str, int], list[RecurringWork]] = {}
    changed: list[tuple[str, datetime]] = []
    problems = []
    for place, event in zip(_places(text), events, strict=False):
        try:
            uid = str(event.get("UID", place.first))
            if "RECURRENCE-ID" in event:
                changed.append((uid, _start(event, "RECURRENCE-ID", time_zone)[0]))
            if str(event.get("STATUS", "")).upper() != "CANCELLED":
                works[uid, place.first] = list(_works(event, tank, time_zone))
        except _UnreadableError as error:
            problems.append((place.of(error.name), str(error)))
    found = [
        # One time that was moved or called off is left out where the others come.
        replace(work, without=(*work.without, *(at for of, at in changed if of == uid and work.repeats)))
        for (uid, _), some in works.items()
        for work in some
    ]
    return Read(tuple(found), tuple(problems))


def _places(text: str) -> Iterator[_Place]:
    """Where each event stands, in their order."""
    lines = text.splitlines()
    begin = None
    for number, line in enumerate(lines):
        word = line.strip().upper()
        if word == "BEGIN:VEVENT":
            begin = number
        elif word == "END:VEVENT" and begin is not None:
            yield _Place(begin + 1, lines[begin:number])
            begin = None


def _works(event: Any, tank: str, time_zone: str) -> Iterator[RecurringWork]:
    for name, reason in event.errors:
        raise _UnreadableError(str(name), f"{name} cannot be read: {reason}")
    kind = _kind(event)
    starts, zone = _start(event, "DTSTART", time_zone)
    lasts = _lasts(event, starts, zone)
    repeats = _rule(event, zone)
    without = tuple(_on_wall(one.dt, "EXDATE", zone) for many in _listed(event, "EXDATE") for one in many.dts)
    lasts_us = lasts // timedelta(microseconds=1)
    try:
        yield RecurringWork(tank, kind, zone, starts, lasts_us, repeats, without if repeats else ())
    except ConfigError as error:
        raise _UnreadableError("RRULE", f"RRULE {repeats}: {error}") from error
    for many in _listed(event, "RDATE"):
        for one in many.dts:
            yield RecurringWork(tank, kind, zone, _on_wall(one.dt, "RDATE", zone), lasts_us, "")


def _kind(event: Any) -> str:
    for many in _listed(event, "CATEGORIES"):
        for one in many.cats:
            name = re.sub(r"[\W_]+", "_", str(one).strip().lower())
            if name in KINDS:
                return name
    summary = str(event.get("SUMMARY", ""))
    words = set(re.findall(r"[a-z]+", summary.lower()))
    found = [kind for kind in KINDS if words.issuperset(kind.split("_"))]
    if len(found) == 1:
        return found[0]
    raise _UnreadableError(
        "SUMMARY",
        f'"{summary}" names no kind of work: write one of {", ".join(KINDS)} into CATEGORIES, or its words '
        "into SUMMARY",
    )


def _start(event: Any, name: str, time_zone: str) -> tuple[datetime, str]:
    """A time on the wall, and the zone of the wall."""
    if name not in event:
        raise _UnreadableError(name, f"there is no {name}")
    value = event[name].dt
    if not isinstance(value, datetime):
        raise _UnreadableError(name, f"{name} {value} is a day: work begins at a time of the day")
    zone = _zone(value, name) or time_zone
    return value.replace(tzinfo=None, fold=0), zone


def _zone(value: datetime, name: str) -> str | None:
    if value.tzinfo is None:
        return None
    key = getattr(value.tzinfo, "key", None)
    if isinstance(key, str):
        return key
    if value.tzinfo is UTC or str(value.tzinfo) == "UTC":
        return "UTC"
    raise _UnreadableError(name, f"{name} is in {value.tzinfo}, which is no zone of the IANA list")


def _on_wall(value: Any, name: str, zone: str) -> datetime:
    """The same instant on the wall of a zone."""
    if not isinstance(value, datetime):
        raise _UnreadableError(name, f"{name} {value} is no time: write it as DTSTART is written")
    if value.tzinfo is None:
        return value
    return value.astimezone(ZoneInfo(zone)).replace(tzinfo=None, fold=0)


def _lasts(event: Any, starts: datetime, zone: str) -> timedelta:
    if "DURATION" in event:
        name = "DURATION"
        lasts: Any = event["DURATION"].dt
    elif "DTEND" in event:
        name, end = "DTEND", event["DTEND"].dt
        if not isinstance(end, datetime):
            raise _UnreadableError(name, f"DTEND {end} is a day: work ends at a time of the day")
        here = ZoneInfo(zone)
        begin = starts.replace(tzinfo=here)
        lasts = end.replace(tzinfo=end.tzinfo or here).astimezone(UTC) - begin.astimezone(UTC)
    else:
        raise _UnreadableError("DTSTART", "how long it takes is not said: write DURATION or DTEND")
    if not isinstance(lasts, timedelta) or not timedelta(0) < lasts <= _DAY:
        raise _UnreadableError(name, f"it lasts {lasts}: more than nothing and a day at most is work")
    return timedelta(seconds=round(lasts.total_seconds()))


def _rule(event: Any, zone: str) -> str:
    rules = _listed(event, "RRULE")
    if not rules:
        return ""
    if len(rules) > 1:
        raise _UnreadableError("RRULE", "there are several RRULE: write an event for each")
    rule = rules[0].copy()
    until = [_until(one, zone) for one in rule.pop("UNTIL", [])]
    parts = [f"{name}={_text(rule, name)}" for name in rule]
    return ";".join([*parts, *(f"UNTIL={one:%Y%m%dT%H%M%S}" for one in until)])


def _text(rule: Any, name: str) -> str:
    """A part of a rule as it is written."""
    written = type(rule)({name: rule[name]}).to_ical().decode()
    return str(written.partition("=")[2])


def _until(value: Any, zone: str) -> datetime:
    """The last time on the wall; a day holds all of its times."""
    if isinstance(value, datetime):
        return _on_wall(value, "RRULE", zone)
    if isinstance(value, date):
        return datetime(value.year, value.month, value.day, 23, 59, 59)
    raise _UnreadableError("RRULE", f"UNTIL {value} is no time")


def _listed(event: Any, name: str) -> list[Any]:
    """All of a property that may be there several times."""
    value = event.get(name)
    if value is None:
        return []
    return value if isinstance(value, list) else [value]
