"""The times that were given to payloads without one, so that a redelivery gets the same time again.

MQTT tells two deliveries of one message from two messages only by packet id, DUP flag and content, and a
packet id is used again once the broker has our acknowledgement. So a time is kept until we know that the
broker has it: in the same transaction as the reading, and here as a copy.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence

from collector.mqtt import Message
from collector.store import Arrival

# Two payloads of one series within a microsecond get times one microsecond apart. A clock that was set
# back farther than this is not followed that way: the newer readings then count as late.
_NEAR_US = 1_000_000


class Arrivals:
    """What is known of messages that may come again.

    Parameters
    ----------
    known
        What the store kept, for messages not known to be acknowledged.
    """

    def __init__(self, known: Iterable[Arrival] = ()) -> None:
        self._known = {arrival.packet_id: arrival for arrival in known}
        self._fresh: list[Arrival] = []
        self._settled: list[int] = []
        # Acknowledged, as far as we are concerned; and of these, those before the marker on its way. By
        # packet id, so that they stay few where no marker ever comes back.
        self._acknowledged = dict(self._known)
        self._marked: dict[int, Arrival] = {}
        self._newest_us: dict[int, int] = {}

    @property
    def is_changed(self) -> bool:
        """Whether `take` has something for the next commit."""
        return bool(self._fresh or self._settled)

    @property
    def has_unconfirmed(self) -> bool:
        """Whether a marker would settle anything."""
        return bool(self._acknowledged)

    def recall(self, message: Message) -> int | None:
        """The arrival time given to this message when it came before; None if it is new to us."""
        known = self._known.get(message.packet_id)
        if known is None or not message.is_redelivered or not _is_of(known, message):
            return None
        return known.observed_us

    def give(self, message: Message, series: Sequence[int], recalled_us: int | None) -> int:
        """Give an arrival time to a message, and keep it for its redelivery.

        Parameters
        ----------
        series
            Of each of its readings that has no time of its own: they get the time given, and further
            ones of the same series a microsecond more each.
        recalled_us
            What `recall` said.
        """
        given_us = message.received_us if recalled_us is None else recalled_us
        if recalled_us is None:
            for one in series:
                newest_us = self._newest_us.get(one, 0)
                if given_us <= newest_us < given_us + _NEAR_US:
                    given_us = newest_us + 1
        last_us = given_us + len(series) - 1
        for one in series:
            self._newest_us[one] = max(last_us, self._newest_us.get(one, 0))
        if message.packet_id:
            arrival = Arrival(message.packet_id, message.topic, _hash(message.payload), given_us)
            self._known[message.packet_id] = arrival
            self._fresh.append(arrival)
        return given_us

    def saw(self, message: Message) -> None:
        """Take note of a message that needs no time given: its packet id means nothing older any more."""
        if message.packet_id in self._known and not message.is_redelivered:
            del self._known[message.packet_id]
            self._settled.append(message.packet_id)

    def take(self) -> tuple[Sequence[Arrival], Sequence[int]]:
        """Hand over what the next commit must keep, and the packet ids that it may drop."""
        fresh, settled = self._fresh, self._settled
        self._fresh, self._settled = [], []
        return fresh, settled

    def acknowledged(self, arrivals: Iterable[Arrival]) -> None:
        """Take note that these were committed and acknowledged."""
        self._acknowledged.update((arrival.packet_id, arrival) for arrival in arrivals)

    def mark(self) -> None:
        """Take note that a marker is sent behind all acknowledgements so far."""
        self._marked.update(self._acknowledged)
        self._acknowledged.clear()

    def settle(self) -> None:
        """The marker came back: the broker has all acknowledgements that were sent before it."""
        for arrival in self._marked.values():
            if self._known.get(arrival.packet_id) is arrival:
                del self._known[arrival.packet_id]
                self._settled.append(arrival.packet_id)
        self._marked.clear()

    def forget(self) -> None:
        """The broker has no session for us: nothing will come again, and packet ids begin anew."""
        self._known.clear()
        self._fresh.clear()
        self._settled.clear()
        self._acknowledged.clear()
        self._marked.clear()


def _hash(payload: bytes) -> bytes:
    return hashlib.blake2b(payload, digest_size=8).digest()


def _is_of(arrival: Arrival, message: Message) -> bool:
    return arrival.topic == message.topic and arrival.payload_hash == _hash(message.payload)
