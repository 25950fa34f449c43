"""The telling of one incident: how far it has come, who has answered, and what a person reads of that."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import orjson

from collector.alarm_record import ThreadRecord
from collector.telling.ladder import Progress
from rules import HOUR_US, AlarmKey, AlarmState, Priority

# A danger line is nearer if this much earlier, and within half of the time that there seemed to be.
_NEARER_US = HOUR_US // 2


@dataclass(frozen=True, slots=True)
class Thread:
    """What is remembered of the telling of an incident.

    Parameters
    ----------
    first
        The alarm that opened it.
    kind, priority, rung_us, danger_at_us
        Of the ring that goes on, or went on last: why, how urgent, since when, and when the danger line was
        to be reached. `rung_us` None: it was never to ring.
    told
        Who was told, in that order.
    answer, who, answered_us, until_us
        "acknowledged" or a hold's state, by whom, when, until when; "" while nobody has answered.
    renamed
        How often another cause was told than at first.
    """

    incident: int
    first: AlarmKey
    priority: Priority
    kind: str = "opened"
    rung_us: int | None = None
    danger_at_us: int | None = None
    progress: Progress = field(default_factory=lambda: Progress(None))
    told: tuple[str, ...] = ()
    answer: str = ""
    who: str = ""
    answered_us: int | None = None
    until_us: int | None = None
    ended_us: int | None = None
    renamed: int = 0

    @property
    def is_ringing(self) -> bool:
        """Whether an answer is waited for."""
        return self.rung_us is not None and not self.answer and self.ended_us is None

    @property
    def is_seen(self) -> bool:
        """Whether somebody has acknowledged it."""
        return self.answer == AlarmState.ACKNOWLEDGED.value

    def state(self, *, is_latched: bool = False) -> str:
        """In the words of ISA-18.2; `is_latched`: an alarm of it waits for a reset."""
        if self.ended_us is None:
            return self.answer or AlarmState.UNACKNOWLEDGED.value
        if is_latched:
            return (AlarmState.LATCHED if self.is_seen else AlarmState.LATCHED_UNACKNOWLEDGED).value
        return (AlarmState.NORMAL if self.is_seen else AlarmState.RETURNED_UNACKNOWLEDGED).value

    def is_nearer(self, danger_at_us: int | None, now_us: int) -> bool:
        """Whether the danger line comes so much earlier than was told that it is told anew."""
        if danger_at_us is None or self.rung_us is None or self.ended_us is not None:
            return False
        if self.danger_at_us is None:
            return False
        left_us, told_us = danger_at_us - now_us, self.danger_at_us - now_us
        return told_us > 0 and told_us - left_us >= _NEARER_US and left_us <= told_us // 2

    def record(self, *, is_latched: bool = False, is_over: bool = False) -> ThreadRecord:
        """As it is recorded."""
        data = None if is_over else orjson.dumps(asdict(self)).decode()
        state = self.state(is_latched=is_latched)
        return ThreadRecord(self.incident, state, self.who, self.answered_us, self.until_us, data)


def thread_of(data: str) -> Thread:
    """A thread as it was recorded."""
    values: dict[str, Any] = orjson.loads(data)
    return Thread(
        **values
        | {
            "first": AlarmKey(**values["first"]),
            "priority": Priority(values["priority"]),
            "progress": Progress(**values["progress"] | {"turns": tuple(values["progress"]["turns"])}),
            "told": tuple(values["told"]),
        }
    )
