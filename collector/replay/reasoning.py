"""How the incidents of a replay came about, step by step."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from collector.wording.explanation import Step
from rules import (
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Event,
    IncidentOpened,
    IncidentUpdated,
    Judgement,
)

# Steps of five minutes that are kept of what a fault found: half a day.
_KEPT_STEPS = 144
# A longer break in what a fault finds begins a new story.
_LONGEST_BREAK_US = 20 * 60_000_000


class Reasoning:
    """Follows an engine: which alarm events make each incident, and what their faults found before."""

    def __init__(self) -> None:
        self._steps: dict[int, list[Step]] = {}
        self._numbers: dict[AlarmKey, int] = {}
        self._found: dict[AlarmKey, deque[Judgement]] = {}
        self._before: dict[tuple[AlarmKey, int], tuple[Judgement, ...]] = {}
        self._raised: list[AlarmRaised] = []

    def steps(self, number: int) -> tuple[Step, ...]:
        """The alarm events of an incident in their order; none for a number that there is not."""
        return tuple(self._steps.get(number, ()))

    def judged(self, judgement: Judgement) -> None:
        """Take what a fault found at a step."""
        found = self._found.setdefault(judgement.alarm, deque(maxlen=_KEPT_STEPS))
        if found and judgement.at_us - found[-1].at_us > _LONGEST_BREAK_US:
            found.clear()
        begins = judgement.speaks and not (found and found[-1].speaks)
        found.append(judgement)
        if begins:
            # Its event comes at the end of the block, when later steps have been judged too.
            self._before[judgement.alarm, judgement.at_us] = tuple(found)

    def follow(self, events: Sequence[Event]) -> None:
        """Take what the engine said; each alarm that is raised is followed by its incident."""
        for event in events:
            if isinstance(event, AlarmRaised):
                self._raised.append(event)
            elif isinstance(event, AlarmReturned):
                number = self._numbers.pop(event.alarm, None)
                if number is not None:
                    self._steps[number].append(Step(event))
            elif isinstance(event, IncidentOpened | IncidentUpdated):
                for raised in self._raised:
                    self._numbers[raised.alarm] = event.incident.number
                    self._steps.setdefault(event.incident.number, []).append(self._step(raised))
                self._raised.clear()

    def _step(self, event: AlarmRaised) -> Step:
        return Step(event, self._before.pop((event.alarm, event.at_us), ()))
