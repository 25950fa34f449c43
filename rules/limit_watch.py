"""Limit alarms of one series: is a value beyond a setpoint for longer than its on-delay?

Nearly always a series lies between its limits and nothing is active; then one comparison answers for
all of them.
"""

from __future__ import annotations

from collections.abc import Iterable

from rules.alarm import NEVER, Change, DelayedAlarm
from rules.events import AlarmKey, Priority
from rules.planned_work import NEVER_SUPPRESSED, PlannedWork, Suppressed, spans, spans_out
from rules.quantities import TWO_STATE
from rules.setup import LimitAlarm
from rules.staging import Stage
from rules.survey import Survey

# Alarms of limits that are told with the trend of their series.
OF_LIMITS = frozenset({"under_limit", "over_limit", "under_danger_line", "over_danger_line"})


class LimitWatch:
    """One `LimitAlarm` over the readings of its series; `edge` is where its deadband ends.

    A high alarm is on while value > setpoint and off while value < setpoint - deadband, or, for a
    quantity of two states, while it is not on.
    """

    __slots__ = ("alarm", "cause", "delays", "edge")

    def __init__(self, alarm: LimitAlarm, quantity: str, gap_us: int) -> None:
        self.alarm = alarm
        self.delays = DelayedAlarm(alarm.on_delay_us, alarm.off_delay_us, gap_us)
        side = "over" if alarm.is_high else "under"
        self.cause = f"{side}_danger_line" if alarm.is_danger else f"{side}_limit"
        if quantity in TWO_STATE:
            self.cause = "contact_alarm"
        if alarm.cause is not None:
            self.cause = alarm.cause
        self.edge = alarm.setpoint - alarm.deadband if alarm.is_high else alarm.setpoint + alarm.deadband

    def is_beyond(self, value: float) -> bool:
        """Whether a value lies beyond the setpoint (one equal to it does not)."""
        return value > self.alarm.setpoint if self.alarm.is_high else value < self.alarm.setpoint

    def judge(
        self,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
        by_clock: bool,
    ) -> list[Change]:
        """Take readings in order; return what they raised or returned to normal."""
        delays = self.delays
        setpoint, edge, is_high = self.alarm.setpoint, self.edge, self.alarm.is_high
        if delays.due_us == NEVER:
            farthest = max(values) if is_high else min(values)
            nearest = min(values) if is_high else max(values)
            stays_off = not delays.is_active and not self.is_beyond(farthest)
            stays_on = delays.is_active and (nearest >= edge if is_high else nearest <= edge)
            if stays_off or stays_on:
                delays.skip_to(times_us[-1], clocks_us[-1])
                return []
        changes: list[Change] = []
        for position, time_us in enumerate(times_us):
            value = values[position]
            is_on = value > setpoint if is_high else value < setpoint
            is_off = value < edge if is_high else value > edge
            found = delays.observe(time_us, sequences[position], clocks_us[position], is_on, is_off, by_clock)
            if found:
                changes += found
        return changes


class LimitWatches:
    """All limit alarms of a series.

    Parameters
    ----------
    alarms, quantity
        Of the series.
    gap_us
        Longest time between two readings over which a condition is taken to hold.

    Attributes
    ----------
    is_idle
        Whether nothing is active and nothing is due.
    """

    __slots__ = ("_clock_us", "_high", "_last_us", "_low", "is_idle", "watches")

    def __init__(self, alarms: Iterable[LimitAlarm], quantity: str, gap_us: int) -> None:
        self.watches = tuple(LimitWatch(alarm, quantity, gap_us) for alarm in alarms)
        inside = [watch.alarm for watch in self.watches]
        self._low = max((alarm.setpoint for alarm in inside if not alarm.is_high), default=float("-inf"))
        self._high = min((alarm.setpoint for alarm in inside if alarm.is_high), default=float("inf"))
        self.is_idle = True
        self._last_us = self._clock_us = -NEVER

    def refresh(self) -> None:
        """Look again whether anything is active or due: a state was taken over."""
        self.is_idle = all(watch.delays.is_idle for watch in self.watches)

    @property
    def priorities(self) -> dict[str, Priority]:
        """How soon a person must act, by cause."""
        return {watch.cause: watch.alarm.priority for watch in self.watches}

    def name_setpoints(self, stage: Stage) -> None:
        """Let the setpoints be told with the alarms."""
        for watch in self.watches:
            stage.name_setpoint(watch.cause, watch.alarm.setpoint)

    def plan_work(self, works: Iterable[PlannedWork], quantity: str) -> None:
        """Suppress by design what these works disturb, instead of those told before."""
        works = tuple(works)
        disturbed = spans(work for work in works if work.disturbs(quantity))
        for watch in self.watches:
            is_danger = watch.cause in NEVER_SUPPRESSED
            watch.delays.suppress(spans_out(works, quantity) if is_danger else disturbed)

    def judge(
        self,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
        by_clock: bool,
        survey: Survey | None = None,
    ) -> list[tuple[str, list[Change]]]:
        """Take readings in order; return what they raised or returned to normal, by cause."""
        low, high = (min(values), max(values)) if survey is None else (survey.low, survey.high)
        if self.is_idle and self._low <= low and high <= self._high:
            self._last_us, self._clock_us = times_us[-1], clocks_us[-1]
            return []
        found = []
        for watch in self.watches:
            if self.is_idle:
                watch.delays.skip_to(self._last_us, self._clock_us)
            changes = watch.judge(times_us, values, sequences, clocks_us, by_clock)
            if changes:
                found.append((watch.cause, changes))
        self.refresh()
        # What stays idle has taken note of these readings itself.
        self._last_us, self._clock_us = times_us[-1], clocks_us[-1]
        return found


def hidden_alarm(alarm: AlarmKey, delays: DelayedAlarm) -> Suppressed:
    """What planned work hides of an alarm whose condition was seen."""
    return Suppressed(alarm, delays.hidden_us, delays.hidden_last_us, delays.hidden_to_us)
