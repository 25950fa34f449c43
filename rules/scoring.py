"""Scoring: what rang, held against what truly happened.

An incident belongs to what was going on in its tank when it alarmed, or had ended shortly before; to the
cause of its own name first, else to what had begun last. What belongs to nothing is a false alarm. A cause
that no incident belongs to was missed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.events import Incident, Priority
from rules.setup import HOUR_US

# What an annotation says where somebody looked, and nothing of the tank had failed: what rang is false.
NO_CAUSES = ("nothing", "planned_work")
# What was repaired still shows for a while.
AFTERWARDS_US = HOUR_US
_MONTH_US = 365.25 / 12 * 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Annotation:
    """Something that truly happened: its cause, from when to when, None for beyond the recording.

    `cause` is a code of `rules.CAUSES`, or one of `NO_CAUSES` where somebody looked and nothing had failed.
    `series` are those in which it shows, `ring_by_us` the instant by which it should have rung, None where
    nobody said; `note` is for people.
    """

    tank: str
    cause: str
    from_us: int
    to_us: int | None = None
    series: tuple[str, ...] = ()
    ring_by_us: int | None = None
    note: str = ""

    def holds(self, at_us: int) -> bool:
        """Whether what alarms at an instant may belong to it."""
        return self.from_us <= at_us and (self.to_us is None or at_us <= self.to_us + AFTERWARDS_US)


@dataclass(frozen=True, slots=True)
class Found:
    """What became of an annotation: the first incident that belongs to it, None where it was missed.

    `first` is that incident as it was when it alarmed, `last` as it became.
    """

    annotation: Annotation
    first: Incident | None = None
    last: Incident | None = None

    @property
    def delay_us(self) -> int | None:
        """From its beginning to the alarm; None where it was missed."""
        return None if self.first is None else self.first.alarmed_at_us - self.annotation.from_us

    @property
    def is_late(self) -> bool:
        """Whether it alarmed after the instant by which it should have."""
        by_us = self.annotation.ring_by_us
        return self.first is not None and by_us is not None and self.first.alarmed_at_us > by_us

    @property
    def is_named(self) -> bool:
        """Whether the alarm had the right cause at once."""
        return self.first is not None and self.first.cause == self.annotation.cause


@dataclass(frozen=True, slots=True)
class Score:
    """What rang, held against what truly happened.

    `false` are the incidents that belong to nothing, `months` is how long nothing was the matter, in months
    of 30.44 days.
    """

    found: tuple[Found, ...]
    false: tuple[Incident, ...]
    months: float

    @property
    def missed(self) -> tuple[Annotation, ...]:
        """What no incident belongs to."""
        return tuple(one.annotation for one in self.found if one.first is None)

    @property
    def false_a_month(self) -> float:
        """False alarms a month, NaN where something was the matter all the time."""
        return self._a_month(len(self.false))

    @property
    def false_urgent_a_month(self) -> float:
        """Those of them that were urgent."""
        return self._a_month(sum(one.priority is Priority.URGENT for one in self.false))

    def _a_month(self, count: int) -> float:
        return count / self.months if self.months > 0.0 else float("nan")


def score(
    annotations: Sequence[Annotation],
    opened: Sequence[Incident],
    last: Sequence[Incident],
    first_us: int,
    last_us: int,
) -> Score:
    """Hold incidents against annotations.

    Parameters
    ----------
    opened, last
        The incidents as they were when they alarmed, and as they became; of one order.
    first_us, last_us
        Between which it was listened; annotations outside are left out, and so are those of `NO_CAUSES`.
    """
    within = [
        one
        for one in annotations
        if one.cause not in NO_CAUSES
        and one.from_us <= last_us
        and (one.to_us is None or one.to_us > first_us)
    ]
    firsts: dict[int, tuple[Incident, Incident]] = {}
    false = []
    for incident, became in zip(opened, last, strict=True):
        place = _belongs_to(incident, within)
        if place is None:
            false.append(became)
        else:
            firsts.setdefault(place, (incident, became))
    found = tuple(Found(one, *firsts.get(place, ())) for place, one in enumerate(within))
    quiet_us = (last_us - first_us) - _covered_us(within, first_us, last_us)
    return Score(found, tuple(false), max(0.0, quiet_us / _MONTH_US))


def _belongs_to(incident: Incident, annotations: Sequence[Annotation]) -> int | None:
    at_us = incident.alarmed_at_us
    there = [
        (one.cause == incident.cause, one.from_us, place)
        for place, one in enumerate(annotations)
        if one.tank == incident.tank and one.holds(at_us)
    ]
    return max(there)[2] if there else None


def _covered_us(annotations: Sequence[Annotation], first_us: int, last_us: int) -> int:
    """For how long anything was going on."""
    covered, until_us = 0, first_us
    for one in sorted(annotations, key=lambda one: one.from_us):
        to_us = last_us if one.to_us is None else min(last_us, one.to_us + AFTERWARDS_US)
        covered += max(0, to_us - max(until_us, one.from_us))
        until_us = max(until_us, to_us)
    return covered


@dataclass(frozen=True, slots=True)
class Weights:
    """What a person minds how much, in units of an hour of delay.

    Parameters
    ----------
    delay
        An hour from the beginning of a cause to its alarm.
    missed
        A cause that is not told at all.
    false
        A false alarm.
    night
        A ring at night for one, beside it.
    """

    delay: float = 1.0
    missed: float = 48.0
    false: float = 4.0
    night: float = 12.0

    def cost(self, found: Sequence[Found], false: int, night: int) -> float:
        """What these causes, false alarms and rings at night come to; less is better."""
        delays = [one.delay_us for one in found]
        late = sum(
            min(self.delay * delay_us / HOUR_US, self.missed) for delay_us in delays if delay_us is not None
        )
        return late + self.missed * delays.count(None) + self.false * false + self.night * night
