"""The steps by which an unacknowledged incident is told: whom next, and when.

Theory of operation
-------------------
People have turns in their order. Within a turn one person is rung again and again, at most so many times;
some time after a turn has begun the next person's begins. Who is away is passed over. Who may not be rung
now, for it is night, is passed over too if another may; if none may, the step waits for the first morning.
Everybody has so many turns and no more: the one who may be rung at night does not use up those of who may
not. If everybody is away everybody counts as present: an absence must not silence an alarm.

`Progress` is all that is remembered. What is due depends on it, the rules and the clock alone; a step that
was missed while the service was down is not made up for, the next one comes at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from collector.telling.pace import Pace
from collector.telling.people import Person, present
from rules import Priority


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the telling has come.

    `next_us` is when the next step is due, None where none is left; `waits` that it waits for a morning.
    `turns` are whose turns have begun, in that order; `rings` counts those of the last one.
    """

    next_us: int | None
    turns: tuple[str, ...] = ()
    person: str = ""
    turn_from_us: int = 0
    rings: int = 0
    waits: bool = False


class Step(NamedTuple):
    """A ring: whom, and whether the same person was rung just before."""

    person: Person
    is_repeat: bool


def advance(
    progress: Progress,
    priority: Priority,
    people: Sequence[Person],
    paces: Mapping[Priority, Pace],
    zone: str,
    now_us: int,
) -> tuple[Step | None, Progress]:
    """Take the step that is due at `now_us`; without one it waits for a morning, or nothing is left."""
    pace = paces[priority]
    order = [one for one in people if one.channels.get(priority)]
    there = present(order, now_us, zone)
    left = _with_turns_left(progress, pace, there)
    person = next((one for one in order if one.name == progress.person), None)
    ends_us = progress.turn_from_us + pace.next_us if left and pace.next_us is not None else None
    is_in_turn = 0 < progress.rings < pace.rings and (ends_us is None or now_us < ends_us)
    if is_in_turn and person is not None and person in there:
        if person.can_be_rung(priority, now_us, zone):
            return Step(person, is_repeat=True), _rung(progress, pace, there, now_us)
        if not left:
            return None, replace(progress, next_us=person.morning_us(now_us, zone), waits=True)
    if not left:
        return None, replace(progress, next_us=None, waits=False)
    behind = 0 if person is None else order.index(person) + 1
    rotation = [one for one in order[behind:] + order[:behind] if one in left]
    chosen = next((one for one in rotation if one.can_be_rung(priority, now_us, zone)), None)
    if chosen is None:
        mornings = [one.morning_us(now_us, zone) for one in left]
        return None, replace(progress, next_us=min(mornings), waits=True)
    begun = replace(
        progress,
        turns=(*progress.turns, chosen.name),
        person=chosen.name,
        turn_from_us=now_us,
        rings=0,
        waits=False,
    )
    # In the next round the only person there is has a new turn, and reads the same again.
    is_repeat = chosen.name == progress.person and bool(progress.turns)
    return Step(chosen, is_repeat), _rung(begun, pace, there, now_us)


def _with_turns_left(progress: Progress, pace: Pace, people: Sequence[Person]) -> list[Person]:
    if pace.next_us is None and progress.turns:
        return []
    return [one for one in people if progress.turns.count(one.name) < pace.rounds]


def _rung(progress: Progress, pace: Pace, people: Sequence[Person], now_us: int) -> Progress:
    rings = progress.rings + 1
    coming = []
    if rings < pace.rings:
        coming.append(now_us + pace.repeat_us)
    if pace.next_us is not None and _with_turns_left(progress, pace, people):
        coming.append(max(progress.turn_from_us + pace.next_us, now_us + 1))
    return replace(progress, rings=rings, next_us=min(coming, default=None), waits=False)
