"""How often a message is repeated, and when the next person is told, by priority."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from rules import HOUR_US, Priority

_MINUTE_US = HOUR_US // 60


@dataclass(frozen=True, slots=True)
class Pace:
    """One person's turn, and when it passes on.

    Parameters
    ----------
    repeat_us
        From one ring to the next while nobody acknowledges.
    rings
        At most so many in one turn.
    next_us
        So long after a turn's first ring the next person is told; None: nobody else is.
    rounds
        How many turns each person has.
    """

    repeat_us: int
    rings: int
    next_us: int | None
    rounds: int = 1


# Common practice, no source. Stony corals die within a night: whoever is not awake after three rings sleeps
# through a fourth, and the next person still has hours. Four rounds keep on for an hour with one person
# alone. What is high wants an answer today, and what is low may be overlooked.
PACES: Mapping[Priority, Pace] = MappingProxyType(
    {
        Priority.URGENT: Pace(5 * _MINUTE_US, 3, 15 * _MINUTE_US, 4),
        Priority.HIGH: Pace(3 * HOUR_US, 2, 6 * HOUR_US),
        Priority.LOW: Pace(24 * HOUR_US, 1, None),
    }
)
