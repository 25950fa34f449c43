"""What is recorded of alarms beside what the engine says: each one's life, and how its telling stands."""

from __future__ import annotations

from typing import NamedTuple

from rules import AlarmKey, AlarmLife


class LifeChange(NamedTuple):
    """A step in an alarm's life: what, when, by whom and why, and what the alarm is from then on.

    A key without a cause stands for all alarms of its series, those to come included.
    """

    alarm: AlarmKey
    at_us: int
    step: str
    life: AlarmLife
    who: str = ""
    why: str = ""


class ThreadRecord(NamedTuple):
    """How the telling of one incident stands.

    `state` is what a person reads, in the words of ISA-18.2; `who` answered it, and when; `until_us` is
    where a shelving ends. `data` is for `collector.telling` alone, and None where its story is over.
    """

    incident: int
    state: str
    who: str = ""
    at_us: int | None = None
    until_us: int | None = None
    data: str | None = None


class Withdrawal(NamedTuple):
    """Messages of an incident, or of none, that are needed no more, unless they have been delivered.

    Empty `person` and `kinds` stand for any. What is being sent at this moment is spared by `is_waiting`.
    """

    incident: int | None
    person: str = ""
    kinds: tuple[str, ...] = ()
    is_waiting: bool = False


class RingTest(NamedTuple):
    """One test ring of one person; None where that has not come."""

    person: str
    rung_us: int
    answered_us: int | None = None
    who: str = ""
    missed_us: int | None = None
