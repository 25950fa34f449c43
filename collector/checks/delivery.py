"""Does a message reach somebody: are there people with channels, can apprise read them, do they ring?"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import replace

from collector.checks.finding import Finding, Verdict
from collector.configuration import Configuration, PersonConfiguration
from collector.delivery import channel_names, send_test

_PART = "delivery"


def check_delivery(configuration: Configuration, *, is_ringing: bool) -> Iterator[Finding]:
    """Look at every channel, and send a test message through each if `is_ringing`."""
    if not any(person.urls for person in configuration.people):
        yield Finding(
            _PART,
            Verdict.WRONG,
            "nobody would be told: no person has a channel",
            "write [people.keeper] with a urls_file that holds one apprise URL a line",
        )
        return
    people = []
    for person in configuration.people:
        readable = tuple(url for url in person.urls if _can_be_read(url))
        people.append(replace(person, urls=readable))
        yield from _check_person(person, readable)
    if not is_ringing:
        yield Finding(
            _PART,
            Verdict.NOTE,
            "nothing was sent",
            "`brinebell check --ring` sends a test message to everybody",
        )
        return
    for result in send_test(replace(configuration, people=tuple(people))):
        if result.is_delivered:
            yield Finding(_PART, Verdict.WELL, f"{result.person}: {result.channel} took a test message")
        else:
            yield Finding(
                _PART,
                Verdict.WRONG,
                f"{result.person}: {result.channel} did not take a test message ({result.reason})",
                "correct this line of the person's URLs, or wait for the service behind it",
            )


def _check_person(person: PersonConfiguration, readable: tuple[str, ...]) -> Iterator[Finding]:
    if not person.urls:
        yield Finding(
            _PART,
            Verdict.NOTE,
            f"{person.name} has no channel and is told nothing",
            f"give people.{person.name} a urls_file, or take the person out",
        )
        return
    for number, (name, url) in enumerate(zip(channel_names(person.urls), person.urls, strict=True), start=1):
        if url in readable:
            yield Finding(_PART, Verdict.WELL, f"{person.name}: {name} can be read")
        else:
            yield Finding(
                _PART,
                Verdict.WRONG,
                f"{person.name}: {name} is no URL that apprise can read",
                f"correct URL {number} of people.{person.name}; each service's form stands in the "
                "documentation of apprise, appriseit.com",
            )


def _can_be_read(url: str) -> bool:
    import apprise

    # What it logs of a URL that it cannot read holds the URL.
    logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)
    return apprise.Apprise.instantiate(url, suppress_exceptions=True) is not None
