"""Recurring works of the file: which tank, what, when on its wall, and when again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from collector.configuration import TankConfiguration
from collector.errors import ConfigError
from collector.recurrence import RecurringWork
from collector.settings.model import WorkSettings
from collector.settings.section import Section
from collector.settings.suggestions import instead_of
from rules import KINDS

_DAY_S = 86_400


def resolve_works(
    top: Section, settings: Mapping[int, WorkSettings], tanks: Sequence[TankConfiguration]
) -> tuple[RecurringWork, ...]:
    """Make them, in their order; what is wrong is noted and left out."""
    zones = {tank.name: tank.rules.time_zone for tank in tanks}
    found = (_work(top.at("works", position), one, zones) for position, one in sorted(settings.items()))
    return tuple(one for one in found if one is not None)


def _work(section: Section, settings: WorkSettings, zones: Mapping[str, str]) -> RecurringWork | None:
    if settings.tank not in zones:
        section.wrong("tank", instead_of(settings.tank, zones), settings.tank)
    if settings.kind not in KINDS:
        section.wrong("kind", instead_of(settings.kind, KINDS), settings.kind)
    starts = _on_the_wall(section, settings.starts)
    lasts_us = section.duration("lasts", settings.lasts, least_s=1, most_s=_DAY_S)
    if starts is None or lasts_us is None or settings.tank not in zones or settings.kind not in KINDS:
        return None
    if not settings.repeats:
        section.wrong("repeats", 'a rule of RFC 5545 is needed, such as "FREQ=WEEKLY;BYDAY=SA"', "")
        return None
    try:
        return RecurringWork(
            settings.tank, settings.kind, zones[settings.tank], starts, lasts_us, settings.repeats
        )
    except ConfigError as error:
        section.wrong("repeats", str(error), settings.repeats)
        return None


def _on_the_wall(section: Section, text: str) -> datetime | None:
    try:
        starts = datetime.fromisoformat(text)
    except ValueError:
        starts = None
    if starts is None or starts.tzinfo is not None:
        section.wrong(
            "starts", 'a time on the tank\'s wall is needed, without a zone: "2026-01-03 18:00"', text
        )
        return None
    return starts
