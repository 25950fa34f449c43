"""Limit alarms of one series: is a value beyond a setpoint for longer than its on-delay?"""

from __future__ import annotations

from rules.alarm import NEVER, Change, DelayedAlarm
from rules.quantities import TWO_STATE
from rules.setup import LimitAlarm


class LimitWatch:
    """One `LimitAlarm` over the readings of its series.

    A high alarm is on while value > setpoint and off while value < setpoint - deadband, or, for a
    quantity of two states, while it is not on.
    """

    __slots__ = ("_edge", "alarm", "cause", "delays")

    def __init__(self, alarm: LimitAlarm, quantity: str, gap_us: int) -> None:
        self.alarm = alarm
        self.delays = DelayedAlarm(alarm.on_delay_us, alarm.off_delay_us, gap_us)
        side = "over" if alarm.is_high else "under"
        self.cause = f"{side}_danger_line" if alarm.is_danger else f"{side}_limit"
        if quantity in TWO_STATE:
            self.cause = "contact_alarm"
        self._edge = alarm.setpoint - alarm.deadband if alarm.is_high else alarm.setpoint + alarm.deadband

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
        setpoint, edge, is_high = self.alarm.setpoint, self._edge, self.alarm.is_high
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
