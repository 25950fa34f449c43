"""What every payload decoder takes and gives, whatever its format.

A decoder is made once per source and asked once per message. It keeps what can be read and says what
cannot: one bad value loses no good one.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple, Protocol

from collector.readings import Observation


class Kind(StrEnum):
    """What a flaw is about. Of each topic, every kind is explained once and then counted."""

    PAYLOAD = "payload"  # the payload as a whole is not in its format
    VALUE = "value"  # one value is no finite number or known state
    UNIT = "unit"  # a unit is not known or belongs to another quantity
    TIME = "time"  # the payload's own time cannot be read
    NAME = "name"  # nothing that is wanted is in the payload, or more than one thing answers to a name
    SERIES = "series"  # the value belongs to a series that is not declared


class Flaw(NamedTuple):
    """One thing in a payload that could not be used, and why, for a person to read."""

    kind: Kind
    reason: str


class Decoded(NamedTuple):
    """What a payload held: the good observations, and what was wrong with the rest."""

    observations: Sequence[Observation]
    problems: Sequence[Flaw] = ()


class Decoder(Protocol):
    """Reads the payloads of one source."""

    def decode(self, topic: str, payload: bytes, received_us: int) -> Decoded:
        """Return what the payload holds.

        Parameters
        ----------
        topic
            Where it was published; only Homie's payloads need it.
        payload
            Any bytes at all.
        received_us
            Arrival, microseconds since 1970 UTC: times that are relative to now are relative to it.

        Returns
        -------
        Decoded
            Observations bear the name under which the source's `values` want them, or "" for `series`.

        Raises
        ------
        PayloadError
            If nothing in the payload can be used; no payload raises anything else.
        """
        ...
