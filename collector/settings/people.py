"""People of the file: their channels, nights and absences, and how often who is told."""

from __future__ import annotations

import re
from datetime import date
from types import MappingProxyType

from collector.configuration import PersonConfiguration, TellingConfiguration
from collector.settings.people_model import PersonSettings, TellingSettings
from collector.settings.secrets import SecretFiles
from collector.settings.section import Section
from collector.settings.suggestions import instead_of
from collector.units import parse_duration
from rules import Priority

_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")
_SCHEDULES = ("monthly", "weekly", "never")
_DEFAULT_NIGHT = PersonConfiguration("").night
# Beyond it nobody remembers what rang, and a pace of seconds is an ill of its own.
_SHORTEST_S, _LONGEST_S = 60, 86_400
_MOST_RINGS = 20


def resolve_person(section: Section, settings: PersonSettings, secrets: SecretFiles) -> PersonConfiguration:
    """Make a person; what is wrong is noted and left out."""
    section.own_name()
    shared = _urls(section, settings, secrets, "") or ()
    own = {
        priority: found
        for priority in Priority
        if (found := _urls(section, settings, secrets, f"{priority.value}_")) is not None
    }
    every = dict.fromkeys([*shared, *(url for priority in Priority for url in own.get(priority, ()))])
    begin, end = _night(section, settings.night)
    return PersonConfiguration(
        str(section.path[-1]),
        tuple(every),
        MappingProxyType(own),
        shared,
        (begin, end),
        frozenset(settings.rings_at_night),
        _away(section, settings.away),
    )


def resolve_telling(section: Section, settings: TellingSettings) -> TellingConfiguration:
    """Make how often and to whom; what is wrong is noted."""
    repeat_us = section.duration(
        "repeat_after", settings.repeat_after, least_s=_SHORTEST_S, most_s=_LONGEST_S
    )
    next_us = section.duration(
        "next_person_after", settings.next_person_after, least_s=_SHORTEST_S, most_s=_LONGEST_S
    )
    answer_us = section.duration(
        "test_answer_within", settings.test_answer_within, least_s=_SHORTEST_S, most_s=_LONGEST_S
    )
    for key, value in (("rings", settings.rings), ("rounds", settings.rounds)):
        if not 1 <= value <= _MOST_RINGS:
            section.wrong(key, f"a whole number from 1 to {_MOST_RINGS} is needed", value)
    if settings.test_ring not in _SCHEDULES:
        section.wrong("test_ring", instead_of(settings.test_ring, _SCHEDULES), settings.test_ring)
    test_at = _minutes(section, "test_ring_at", settings.test_ring_at)
    return TellingConfiguration(
        repeat_us or parse_duration("5 min"),
        settings.rings,
        next_us or parse_duration("15 min"),
        settings.rounds,
        settings.test_ring,
        test_at or 0,
        answer_us or parse_duration("4 h"),
    )


def _urls(
    section: Section, settings: PersonSettings, secrets: SecretFiles, prefix: str
) -> tuple[str, ...] | None:
    """URLs of a priority, or the shared ones; None where none are given."""
    given = getattr(settings, f"{prefix}urls")
    if given is not None:
        return tuple(given.get_secret_value().split())
    key = f"{prefix}urls_file"
    name = getattr(settings, key)
    return None if name is None else secrets.urls((*section.path, key), name)


def _night(section: Section, texts: list[str]) -> tuple[int, int]:
    if len(texts) != 2:
        section.wrong("night", "two times are needed, when it begins and when it ends", texts)
        return _DEFAULT_NIGHT
    begin, end = (_minutes(section, "night", text) for text in texts)
    return _DEFAULT_NIGHT if begin is None or end is None else (begin, end)


def _minutes(section: Section, key: str, text: str) -> int | None:
    """Minutes since midnight."""
    match = _CLOCK.fullmatch(text)
    if match is None:
        section.wrong(key, 'a time of the day is needed, such as "22:00"', text)
        return None
    return int(match.group(1)) * 60 + int(match.group(2))


def _away(section: Section, absences: list[list[str]]) -> tuple[tuple[date, date], ...]:
    found = []
    for texts in absences:
        try:
            days = [date.fromisoformat(text) for text in texts]
        except ValueError:
            days = []
        if len(days) != 2 or days[1] < days[0]:
            section.wrong(
                "away",
                'the first and the last day of each absence are needed: [["2026-05-03", "2026-05-17"]]',
                texts,
            )
            continue
        found.append((days[0], days[1]))
    return tuple(found)
