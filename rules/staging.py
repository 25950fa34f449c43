"""Alarm events of one series on their way to the engine, each with its place in order.

What a reading showed is told with it; slopes, what is usual and when the danger line is reached are
added when its turn comes, by the newest step that was taken by then.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

from rules.alarm import Change
from rules.events import (
    AlarmEvent,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Evidence,
    Priority,
    Reason,
    Sign,
)
from rules.floor_contact import CAUSE, CONFIDENCE
from rules.setup import SeriesRules

# Ranks of events of one instant. What ends comes before what begins, but where one fault takes the word
# from another it begins first, so that their incident lives on.
RETURNED = 0
RAISED = 1
RETURNED_LAST = 2

NAN = float("nan")


class Staged(NamedTuple):
    """An alarm event waiting for its turn; the fields before it are its place in the order."""

    order_us: int
    sequence: int
    at_us: int
    rank: int
    series: int
    cause: str
    event: AlarmEvent


class Stage:
    """Turns changes of alarms into staged events.

    Parameters
    ----------
    index, rules
        The series.
    priorities
        Cause -> how soon a person must act; a cause that is not in it has the priority of the probe.
    """

    def __init__(self, index: int, rules: SeriesRules, priorities: Mapping[str, Priority]) -> None:
        self._index = index
        self._rules = rules
        self._priorities = priorities
        self._setpoints: dict[str, float] = {}
        self._staged: list[Staged] = []
        self._times_us: list[int] = []
        self._values: list[float] = []
        self._last_value = NAN
        self._last_plausible = NAN

    def remember(self, value: float) -> None:
        """Take over the last value of before a restart."""
        self._last_value = self._last_plausible = value

    def name_setpoint(self, cause: str, setpoint: float) -> None:
        """Tell this setpoint with alarms of that cause."""
        self._setpoints[cause] = setpoint

    def see(self, times_us: list[int], values: list[float]) -> None:
        """Keep the readings at hand that are being judged."""
        self._times_us, self._values = times_us, values

    def finish(self, last_value: float, last_plausible: float | None) -> list[Staged]:
        """Give up what was staged, and keep of the readings only the last.

        `last_plausible` is the last value that the sensor can give, None if none of them was.
        """
        self._last_value = last_value
        if last_plausible is not None:
            self._last_plausible = last_plausible
        self._times_us, self._values = [], []
        return self.take()

    def take(self) -> list[Staged]:
        """Give up what was staged."""
        staged, self._staged = self._staged, []
        return staged

    def add(self, cause: str, changes: Iterable[Change]) -> None:
        """Stage what readings or the clock showed, with what was known just before."""
        for change in changes:
            self._add(cause, change, self._value_at(change.known_us, cause))

    def _value_at(self, known_us: int, cause: str) -> float:
        """The value that was known then; for the water's alarms only what the sensor can give."""
        position = bisect_right(self._times_us, known_us) - 1
        if position >= 0:
            return self._values[position]
        return self._last_value if cause.startswith("probe_") else self._last_plausible

    def _add(self, cause: str, change: Change, value: float) -> None:
        rules = self._rules
        key = AlarmKey(rules.tank, rules.name, cause)
        event: AlarmEvent
        if change.is_raised:
            evidence = Evidence(value=value, limit=self._setpoints.get(cause), since_us=change.since_us)
            if cause == CAUSE:
                wet = Reason(Sign.CONTACT, rules.name, value, since_us=change.since_us)
                evidence = replace(evidence, confidence=CONFIDENCE, reasons=(wet,))
            event = AlarmRaised(
                at_us=change.at_us,
                alarm=key,
                priority=self._priorities.get(cause, rules.probe_priority),
                first_evidence_us=change.since_us,
                concerns=(rules.name,),
                evidence=evidence,
            )
        else:
            event = AlarmReturned(change.at_us, key, value)
        rank = RAISED if change.is_raised else RETURNED
        self._staged.append(
            Staged(change.order_us, change.sequence, change.at_us, rank, self._index, cause, event)
        )
