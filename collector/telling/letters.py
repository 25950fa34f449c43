"""Messages to one person: which words, over which channels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.configuration import Configuration
from collector.links import Link, Links
from collector.messages import NewMessage
from collector.telling.morning import morning_message
from collector.telling.people import Person
from collector.wording import Kind, message_for
from rules import Incident, Priority

# Kinds of messages that want an answer.
RINGS = ("opened", "worsened", "again", "next", "back")


class Waited(NamedTuple):
    """An incident that waited for somebody's morning."""

    incident: Incident
    priority: Priority
    is_over: bool


def zone_of(tank: str, configuration: Configuration) -> str:
    """The time zone of a tank; UTC for one that is no longer configured."""
    return next((one.rules.time_zone for one in configuration.tanks if one.name == tank), "UTC")


def letter(
    person: Person,
    incident: Incident,
    kind: str,
    priority: Priority,
    configuration: Configuration,
    now_us: int,
    links: Links | None = None,
) -> list[NewMessage]:
    """What is told of an incident, one message a channel of that priority; of another where there is none.

    A ring says how to answer it: by a link where there are `links`, else on the command line.
    """
    closing = how_to_answer(person, incident.number, links, now_us) if kind in RINGS else ""
    words = message_for(incident, configuration, kind=_kind(kind), now_us=now_us, closing=closing)
    channels = person.channels[priority] or next(filter(None, person.channels.values()), ())
    title = configuration.telling.opening + words.title
    return [
        NewMessage(incident.number, kind, person.name, one, now_us, now_us, title, words.body, priority)
        for one in channels
    ]


def how_to_answer(person: Person, incident: int | None, links: Links | None, now_us: int) -> str:
    """Say how a ring about an incident, or a test ring, is answered."""
    if links is not None:
        return links.address(Link(person.name, incident), now_us)
    return f"brinebell acknowledge {'test' if incident is None else incident}"


def morning_letter(
    person: Person, waited: Sequence[Waited], configuration: Configuration, now_us: int
) -> list[NewMessage]:
    """One message for all that waited, the most important first; it belongs to no single incident."""
    lines = []
    for one in waited:
        title = message_for(one.incident, configuration, kind="opened", now_us=now_us).title
        lines.append((one.priority, title, one.is_over))
    words = morning_message(lines)
    priority = waited[0].priority
    title = configuration.telling.opening + words.title
    return [
        NewMessage(None, "morning", person.name, one, now_us, now_us, title, words.body, priority)
        for one in person.channels[priority]
    ]


def _kind(kind: str) -> Kind:
    match kind:
        case "worsened" | "again" | "next" | "back" | "renamed" | "ended":
            return kind
    return "opened"
