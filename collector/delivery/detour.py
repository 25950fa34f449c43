"""Over which other channel a message goes on when one has failed, and that somebody hears of the failure.

A message goes over every channel of its priority at once, a row of the outbox each. If a try fails and no
other row has arrived or may yet, it goes on at once over the next channel of the person that it has not
been to: first those of its priority, then all others. So it goes round all of them without a pause, and
when there is none left it begins anew with the first one, after the wait of a retry. One row of it waits at a
time, so that a channel that comes back delivers it once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from collector.configuration import Configuration, PersonConfiguration
from collector.messages import Detour, Message, Outcome, Route
from collector.sending.channels import channel_names
from rules import Priority

# A test ring asks whether this very channel rings: over another one its answer would mean nothing.
_STAYS = frozenset({"test"})
# The report of a channel that fails; that it fails itself is told of no more.
REPORT = "channel_fails"


class ChannelFailure(NamedTuple):
    """A channel that has failed; `instead` is where its message goes, "" if nowhere else."""

    person: str
    channel: str
    since_us: int
    reason: str
    instead: str


class Channels:
    """The addresses of everybody's channels, and in which order a message goes to them."""

    def __init__(self, configuration: Configuration) -> None:
        self.urls: Mapping[tuple[str, str], str] = MappingProxyType(
            {
                (person.name, channel): url
                for person in configuration.people
                for channel, url in zip(channel_names(person.urls), person.urls, strict=True)
            }
        )
        self._order = {
            (person.name, priority): _in_order(person, priority)
            for person in configuration.people
            for priority in Priority
        }

    def of(self, person: str, priority: Priority) -> Sequence[str]:
        """All channels of a person, those of a priority first."""
        return self._order.get((person, priority), ())


def is_lost(message: Message, outcome: Outcome) -> bool:
    """Whether a channel has failed a message.

    Of a try without an answer the message may have arrived. After the second one it goes elsewhere: a
    channel that takes everything and answers nothing must not keep an alarm for ever.
    """
    return outcome is Outcome.FAILED or (outcome is Outcome.INTERRUPTED and message.may_repeat)


def detour(
    message: Message, routes: Sequence[Route], channels: Sequence[str], now_us: int, retry_at_us: int
) -> Detour | None:
    """Where a message goes on that its channel has failed; None: it is tried again where it is.

    Parameters
    ----------
    routes
        Where the same is told to the same person, this message included, in the order of their use.
    channels
        The person's, those of the message's priority first.
    """
    if message.kind in _STAYS or hopeful(message, routes):
        return None
    been_to = {one.channel for one in routes}
    for channel in channels:
        if channel not in been_to:
            return Detour(channel, now_us)
    round_ = [
        one.channel for one in routes if one.first_id == message.first_id and one.channel in {*channels}
    ]
    if message.channel not in round_ or len(round_) == 1:
        return None
    place = (round_.index(message.channel) + 1) % len(round_)
    return Detour(round_[place], now_us if place else retry_at_us)


def hopeful(message: Message, routes: Sequence[Route]) -> str:
    """The channel over which the same has arrived or may yet, "" if none."""
    return next(
        (
            one.channel
            for one in routes
            if one.first_id != message.first_id
            and (one.state == "done" or (one.state == "waiting" and not one.has_failed))
        ),
        "",
    )


def _in_order(person: PersonConfiguration, priority: Priority) -> tuple[str, ...]:
    names = dict(zip(person.urls, channel_names(person.urls), strict=True))
    return tuple(names[url] for url in dict.fromkeys([*person.urls_for(priority), *person.urls]))
