"""Which of the combinations tried is best, how sure that is, and whether it holds for weeks not looked at."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from collector.tuning.candidates import Candidate
from rules import HOUR_US, Found, Incident, Weights


@dataclass(frozen=True, slots=True)
class Week:
    """What came of a week: causes, false alarms, and how often it rang at night for one."""

    found: tuple[Found, ...]
    false: tuple[Incident, ...]
    nights: int
    incidents: tuple[Incident, ...]


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of one combination, week by week; those of one search are the same weeks."""

    candidate: Candidate
    weeks: tuple[Week, ...]

    def cost(self, weights: Weights, rest: int | None = None) -> float:
        """What it comes to in all weeks, or in those whose number leaves a rest when halved."""
        weeks = [one for number, one in enumerate(self.weeks) if rest is None or number % 2 == rest]
        return sum(weights.cost(one.found, len(one.false), one.nights) for one in weeks)

    @property
    def found(self) -> tuple[Found, ...]:
        """All causes."""
        return tuple(one for week in self.weeks for one in week.found)

    @property
    def false(self) -> int:
        """How many false alarms."""
        return sum(len(week.false) for week in self.weeks)

    @property
    def nights(self) -> int:
        """How many rings at night for them."""
        return sum(week.nights for week in self.weeks)

    @property
    def delay_hours(self) -> float:
        """Mean delay of what was found; NaN for nothing."""
        delays = [one.delay_us / HOUR_US for one in self.found if one.delay_us is not None]
        return sum(delays) / len(delays) if delays else math.nan

    @property
    def missed(self) -> int:
        """How many causes were not told."""
        return sum(one.first is None for one in self.found)


@dataclass(frozen=True, slots=True)
class HeldOut:
    """Chosen on every other week only: what that costs on the weeks between, beside what stood before."""

    candidate: Candidate
    before: float
    after: float

    @property
    def is_gain(self) -> bool:
        """Whether weeks that were not looked at are better for it."""
        return self.after < self.before


@dataclass(frozen=True, slots=True)
class Chosen:
    """The best combination.

    Parameters
    ----------
    best, before
        What came of it, and of the settings as they are.
    front
        Those of which no other one has fewer false alarms and is as early, by false alarms.
    beside
        What one step to a side costs, by that combination; only of what was tried.
    held_out
        None where something is the matter in weeks of one half alone.
    """

    best: Tried
    before: Tried
    front: tuple[Tried, ...]
    beside: tuple[tuple[Candidate, float], ...]
    held_out: HeldOut | None


def choose(
    before: Tried,
    tried: Sequence[Tried],
    weights: Weights,
    neighbours: Callable[[Candidate], Iterable[Candidate]],
) -> Chosen:
    """Choose by cost; of equal ones the settings as they are, then the first."""
    best = _best(before, tried, lambda one: one.cost(weights))
    by_candidate = {one.candidate: one for one in tried}
    beside = tuple(
        (one, by_candidate[one].cost(weights))
        for one in (neighbours(best.candidate) if best is not before else ())
        if one in by_candidate
    )
    return Chosen(best, before, _front([before, *tried]), beside, _held_out(before, tried, weights))


def _best(before: Tried, tried: Sequence[Tried], cost: Callable[[Tried], float]) -> Tried:
    return min([before, *tried], key=cost)


def _held_out(before: Tried, tried: Sequence[Tried], weights: Weights) -> HeldOut | None:
    halves = {number % 2 for number, week in enumerate(before.weeks) if week.found}
    if len(halves) < 2:
        return None
    best = _best(before, tried, lambda one: one.cost(weights, 0))
    return HeldOut(best.candidate, before.cost(weights, 1), best.cost(weights, 1))


def _front(tried: Sequence[Tried]) -> tuple[Tried, ...]:
    """What is not beaten in false alarms, missed causes and delay together; one of each kind."""

    def measure(one: Tried) -> tuple[float, ...]:
        delay = one.delay_hours
        return (one.false, one.missed, math.inf if delay != delay else round(delay, 2))

    kinds: dict[tuple[float, ...], Tried] = {}
    for one in tried:
        kinds.setdefault(measure(one), one)
    front = [
        one
        for size, one in sorted(kinds.items(), key=lambda item: item[0])
        if not any(other != size and all(a <= b for a, b in zip(other, size, strict=True)) for other in kinds)
    ]
    return tuple(front)
