"""The keys of people and of how they are told."""

from __future__ import annotations

from pydantic import SecretStr

from collector.settings.table import Table, key
from rules import Priority


class PersonSettings(Table):
    """Someone who is told, in the order of the file: the first one first, the next if nobody acknowledges."""

    urls_file: str | None = key(
        "file with one apprise URL a line, # for comments; keep it readable by the service alone",
        like='"keeper.urls"',
    )
    urls: SecretStr | None = key(
        "the URLs, separated by blanks: from the environment only, never in this file", like=""
    )
    urgent_urls_file: str | None = key(
        "URLs for what is urgent, instead of those of urls_file. An ordinary push makes no sound at night: "
        "choose your service's own loud one, or a call",
        like='"keeper.urgent.urls"',
    )
    urgent_urls: SecretStr | None = key("the same from the environment only", like="")
    high_urls_file: str | None = key("URLs for what is high, instead", like='"keeper.high.urls"')
    high_urls: SecretStr | None = key("the same from the environment only", like="")
    low_urls_file: str | None = key(
        "URLs for what is low and for returns to normal, instead", like='"keeper.low.urls"'
    )
    low_urls: SecretStr | None = key("the same from the environment only", like="")
    night: list[str] = key(
        "when this person's night begins and ends, on the clock of the tank's wall; the same twice is none",
        ["22:00", "07:00"],
        like='["22:00", "07:00"]',
    )
    rings_at_night: list[Priority] = key(
        "priorities that ring this person at night; the others wait for one message in the morning",
        [Priority.URGENT],
        like='["urgent"]',
    )
    away: list[list[str]] = key(
        "first and last day of absences, in which the next person is told instead",
        [],
        like='[["2026-05-03", "2026-05-17"]]',
    )


class TellingSettings(Table):
    """How often one person is rung for what is urgent, and when the next one is; and the test ring."""

    repeat_after: str = key(
        "an urgent message that nobody acknowledges is repeated after this",
        "5 min",
        like='"5 min"',
        unit="duration",
    )
    rings: int = key("how often one person is rung before that is the next one's turn", 3, like="3")
    next_person_after: str = key(
        "tell the next person after this, counted from the first ring of the one before",
        "15 min",
        like='"15 min"',
        unit="duration",
    )
    rounds: int = key("how often all people have their turn; one alone has so many", 4, like="4")
    test_ring: str = key(
        'a ring by day that asks for an answer: "monthly" on the first Saturday, "weekly", or "never"',
        "monthly",
        like='"monthly"',
    )
    test_ring_at: str = key("when on that day, on the wall of the first tank", "11:00", like='"11:00"')
    test_answer_within: str = key(
        "without an answer within this everybody is told over every channel",
        "4 h",
        like='"4 h"',
        unit="duration",
    )
