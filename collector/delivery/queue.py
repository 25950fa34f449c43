"""Which of the waiting messages leave now: one a channel, in which order, and how many within a while.

Theory of operation
-------------------
Over one channel urgent messages go first, and what is told of one incident is told in its order. A message
that comes before a more urgent one of the same incident is as urgent as that.

A channel takes at most `MOST` messages within `WINDOW_US`; what is over waits until the oldest of these is
that old. Counted is what has reached its person, or may have: a try that failed rang nowhere, and the pace
of failing tries is that of `retry`. An urgent message that is no mere repetition is never held: a wait of
minutes may cost the tank, and a service that refuses it as one too many sends it over the next channel at
once. It counts all the same, so that the rest waits longer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from typing import NamedTuple, TypeAlias

from collector.messages import Message
from rules import HOUR_US, Priority

ChannelKey: TypeAlias = tuple[str, str]

# Ten pushes in ten minutes are read one by one; beyond it a phone is put away, and services that carry
# messages begin to refuse them (common practice, no source).
MOST = 10
WINDOW_US = HOUR_US // 6

_REPETITION = "again"


class Choice(NamedTuple):
    """Messages to send now, at most one a channel, and when the next one may be sent; None for never."""

    messages: Sequence[Message]
    next_us: int | None


def channel_of(message: Message) -> ChannelKey:
    """Person and channel."""
    return message.person, message.channel


def choose(
    waiting: Iterable[Message],
    *,
    busy: Set[ChannelKey],
    handed_us: Mapping[ChannelKey, Sequence[int]],
    due_us: Callable[[Message], int],
    now_us: int,
) -> Choice:
    """Choose what leaves now.

    Parameters
    ----------
    waiting
        All that waits.
    busy
        Channels over which something is being sent: their turn comes when it has ended.
    handed_us
        When each channel took messages within the last `WINDOW_US`, in order of time.
    due_us
        From when a message may be sent.
    """
    in_order = sorted(waiting, key=lambda one: (one.first_id, one.id))
    pressing: dict[tuple[ChannelKey, int], tuple[int, bool]] = {}
    for message in in_order:
        if message.incident is not None:
            key = (channel_of(message), message.incident)
            rank, is_held = pressing.get(key, (0, True))
            pressing[key] = max(rank, message.priority.rank), is_held and _is_held(message)
    heads: dict[ChannelKey, tuple[int, Message]] = {}
    told_first: set[tuple[ChannelKey, int]] = set()
    next_us: int | None = None
    for message in in_order:
        channel = channel_of(message)
        rank, is_held = message.priority.rank, _is_held(message)
        if message.incident is not None:
            if (channel, message.incident) in told_first:
                continue
            told_first.add((channel, message.incident))
            rank, is_held = pressing[channel, message.incident]
        if channel in busy:
            continue
        at_us = due_us(message)
        handed = handed_us.get(channel, ())
        if is_held and len(handed) >= MOST:
            at_us = max(at_us, handed[-MOST] + WINDOW_US)
        if at_us > now_us:
            next_us = at_us if next_us is None else min(next_us, at_us)
        elif channel not in heads or rank > heads[channel][0]:
            heads[channel] = rank, message
    return Choice([message for _, message in heads.values()], next_us)


def _is_held(message: Message) -> bool:
    """Whether it waits where its channel has taken its number."""
    return message.priority is not Priority.URGENT or message.kind == _REPETITION
