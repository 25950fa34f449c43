"""Listens to an engine that goes through a recording, and sums up what it said."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.configuration import Configuration
from collector.replay.rings import DryTelling, Ring
from collector.telling import Person
from rules import (
    AlarmEvent,
    Event,
    Incident,
    IncidentEnded,
    IncidentOpened,
    IncidentUpdated,
    Suppressed,
)


@dataclass(frozen=True, slots=True)
class Replayed:
    """What came of a replay: incidents in the order in which they were opened, alarms and rings in theirs.

    `opened` are the incidents as they were when they alarmed, `incidents` as they became, of one order.
    `first_us` and `last_us` are the instants between which it was listened to.
    """

    first_us: int
    last_us: int
    opened: tuple[Incident, ...]
    incidents: tuple[Incident, ...]
    alarms: tuple[AlarmEvent, ...]
    rings: tuple[Ring, ...]


class Hearing:
    """What an engine says, block by block, and whom a desk would ring for it.

    Parameters
    ----------
    configuration, people, answered_after_us
        As `DryTelling`.
    from_us
        What happened before is judged, and not told of; None for nothing.
    """

    def __init__(
        self,
        configuration: Configuration,
        people: Sequence[Person] = (),
        answered_after_us: int | None = None,
        from_us: int | None = None,
    ) -> None:
        self._telling = DryTelling(configuration, people, answered_after_us)
        self._from_us = from_us
        self._opened: dict[int, Incident] = {}
        self._incidents: dict[int, Incident] = {}
        self._alarms: list[AlarmEvent] = []
        self._first_us: int | None = None
        self._last_us = 0

    def begin(self, first_us: int) -> None:
        """Say when what is recorded begins."""
        self._first_us = first_us

    def hear(self, events: Sequence[Event], suppressed: Iterable[Suppressed], now_us: int) -> None:
        """Take what was said of a block that ends at `now_us`, and what is suppressed by design by then."""
        if self._first_us is None:
            self._first_us = now_us
        self._last_us = max(self._last_us, now_us)
        if self._from_us is None or now_us >= self._from_us:
            for event in events:
                if isinstance(event, IncidentOpened | IncidentUpdated | IncidentEnded):
                    self._opened.setdefault(event.incident.number, event.incident)
                    self._incidents[event.incident.number] = event.incident
                else:
                    self._alarms.append(event)
        self._telling.hear(events)
        self._telling.suppress([one.alarm for one in suppressed if one.to_us > now_us], now_us)

    def end(self) -> Replayed:
        """Sum up."""
        first_us = self._first_us or 0
        self._telling.let_the_night_pass()
        return Replayed(
            first_us if self._from_us is None else max(first_us, self._from_us),
            self._last_us,
            tuple(self._opened.values()),
            tuple(self._incidents.values()),
            tuple(self._alarms),
            tuple(one for one in self._telling.rings if one.at_us >= (self._from_us or 0)),
        )
