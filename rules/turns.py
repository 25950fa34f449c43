"""Whose turn is it? Alarm events and steps in the one order that depends on the stream alone.

An event waits until the engine's clock has reached its place; a step of five minutes takes its turn between
the events before its end and those after it. Incidents are made of events in that order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from heapq import heappop, heappush

from rules.events import AlarmEvent, Event
from rules.incidents import Incidents
from rules.staging import Staged
from rules.trace import STEP_US


class Turns:
    """Events that wait, and the incidents made of those that have had their turn."""

    __slots__ = ("_waiting", "incidents")

    def __init__(self) -> None:
        self.incidents = Incidents()
        self._waiting: list[Staged] = []

    @property
    def is_empty(self) -> bool:
        """Whether nothing waits."""
        return not self._waiting

    @property
    def waiting(self) -> list[Staged]:
        """What waits, in the order of its turns."""
        return sorted(self._waiting)

    def stage(self, staged: Iterable[Staged]) -> None:
        """Let events wait for their turn."""
        for one in staged:
            heappush(self._waiting, one)

    def release(
        self,
        clock_us: int,
        next_step: Callable[[int], int | None],
        take_step: Callable[[int], None],
        explained: Callable[[Staged], Iterable[AlarmEvent]],
    ) -> tuple[Event, ...]:
        """Give turns up to the engine's clock; each alarm event is followed by what it means.

        Parameters
        ----------
        next_step
            Says for a clock which step is the next to be taken by then, None for none.
        take_step
            Takes it; what comes of it may be staged.
        explained
            Says what is told in place of an event.
        """
        events: list[Event] = []
        while True:
            step = next_step(clock_us)
            turn_us = clock_us + 1 if step is None else (step + 1) * STEP_US
            if self._waiting and self._waiting[0].order_us < turn_us:
                for event in explained(heappop(self._waiting)):
                    events.append(event)
                    meaning = self.incidents.take(event)
                    if meaning is not None:
                        events.append(meaning)
            elif step is None:
                return tuple(events)
            else:
                take_step(step)
