"""One alarm's on-delay and off-delay, on the clock of the series that it watches.

Theory of operation
-------------------
A condition must hold for the on-delay before the alarm is raised, and be gone for the off-delay
before it returns to normal. An event bears the instant at which that was fulfilled. Two things can
show that it was: the series' own next reading (one at that very instant only if it still agrees), or
the engine's clock (the newest reading of any series, or the time told by `advance_to`), because
nothing has spoken against it.

So that the answer does not depend on how the stream is cut into blocks, a change also carries
`order_us`, the engine's clock at which it is known: the clock itself when a reading showed it, and the
due instant plus the lag of the series (how far its last reading was behind the clock when it came)
when the clock did. A board that sends ten minutes of readings at once is thereby judged on its own
readings first.

A condition is never held over a gap in the data: if the next reading comes more than `gap_us` behind
the last one, a running delay is void and starts again. While planned work suppresses the alarm by design,
readings are neither on nor off, and a delay that runs into it is void.
"""

from __future__ import annotations

from typing import NamedTuple

from rules.planned_work import Span

NEVER = 2**62
BY_CLOCK = -1


class Change(NamedTuple):
    """An alarm was raised or has returned to normal.

    `sequence` is the arrival number of the reading that showed it, or BY_CLOCK. `known_us` is the
    time of the last reading of the series that had been judged by then.
    """

    at_us: int
    is_raised: bool
    order_us: int
    sequence: int
    known_us: int
    since_us: int


class DelayedAlarm:
    """The two delays of one alarm.

    Parameters
    ----------
    on_delay_us, off_delay_us
        How long the condition must hold, or be gone; 0 acts on the reading itself.
    gap_us
        Longest time between two readings over which a condition is taken to hold.
    """

    __slots__ = (
        "_gap_us",
        "_lag_us",
        "_last_us",
        "_off_delay_us",
        "_on_delay_us",
        "_suppressed",
        "_turned_us",
        "due_us",
        "hidden_last_us",
        "hidden_us",
        "is_active",
        "since_us",
    )

    def __init__(self, on_delay_us: int, off_delay_us: int, gap_us: int = NEVER) -> None:
        self._on_delay_us = on_delay_us
        self._off_delay_us = off_delay_us
        self._gap_us = gap_us
        self._last_us = -NEVER
        self._lag_us = 0
        self._turned_us = -NEVER
        self._suppressed: tuple[Span, ...] = ()
        # When the condition was seen first and last while it was suppressed.
        self.hidden_us = NEVER
        self.hidden_last_us = -NEVER
        self.due_us = NEVER
        self.since_us = 0
        self.is_active = False

    @property
    def hidden_to_us(self) -> int:
        """Until when the condition that was seen last is suppressed."""
        at_us = self.hidden_last_us
        return max(
            (span.to_us for span in self._suppressed if span.from_us <= at_us < span.to_us), default=at_us
        )

    @property
    def suppressed(self) -> tuple[Span, ...]:
        """Stretches in which it neither begins nor ends."""
        return self._suppressed

    @property
    def is_idle(self) -> bool:
        """Whether nothing is active and nothing is due."""
        return not self.is_active and self.due_us == NEVER

    @property
    def wakes_us(self) -> int:
        """The engine's clock at which the running delay ends if nothing speaks against it."""
        return self.due_us + self._lag_us

    def skip_to(self, last_us: int, clock_us: int) -> None:
        """Take note of readings that changed nothing, the last of them at `last_us`."""
        self._last_us = last_us
        self._lag_us = max(0, clock_us - last_us)

    def suppress(self, suppressed: tuple[Span, ...]) -> None:
        """Neither begin nor end in these stretches of time, instead of those told before."""
        self._suppressed = suppressed
        if not any(span.from_us <= self.hidden_us < span.to_us for span in suppressed):
            self.hidden_us = NEVER

    def postpone(self, on_delay_us: int) -> None:
        """Let a running on-delay last so long instead."""
        self.due_us = self.since_us + on_delay_us

    def expire(self, clock_us: int) -> Change | None:
        """Let a running delay end by the clock alone."""
        if self._suppressed:
            self._void_suppressed()
        due_us = self.due_us
        if due_us + self._lag_us > clock_us or due_us - self._last_us > self._gap_us:
            return None
        return self._turn(due_us, due_us + self._lag_us, BY_CLOCK)

    def observe(
        self, time_us: int, sequence: int, clock_us: int, is_on: bool, is_off: bool, by_clock: bool
    ) -> list[Change]:
        """Take one reading's word.

        Parameters
        ----------
        time_us, sequence, clock_us
            When the reading was observed, its arrival number, and the engine's clock when it came.
        is_on, is_off
            Whether it lies beyond the setpoint, or on the safe side of the deadband; neither in between.
        by_clock
            Whether the clock alone may end a delay (not while a backlog is being drained).
        """
        changes: list[Change] = []
        if self._suppressed:
            self._void_suppressed()
            if any(span.from_us <= time_us < span.to_us for span in self._suppressed):
                if is_on and not self.is_active:
                    self.hidden_us = min(self.hidden_us, time_us)
                    self.hidden_last_us = time_us
                is_on = is_off = False
        if self.due_us != NEVER:
            change = self.expire(clock_us) if by_clock else None
            if change is None and time_us - self._last_us > self._gap_us:
                self.due_us = NEVER
            elif change is None and self.due_us < time_us:
                change = self._turn(self.due_us, max(self.due_us, clock_us), sequence)
            if change is not None:
                changes.append(change)
        self._last_us = time_us
        self._lag_us = max(0, clock_us - time_us)
        if self.is_active:
            if not is_off:
                self.due_us = NEVER
            elif self.due_us == NEVER:
                self.due_us = time_us + self._off_delay_us
        elif not is_on:
            self.due_us = NEVER
        elif self.due_us == NEVER:
            self.since_us = time_us
            self.due_us = time_us + self._on_delay_us
        if self.due_us == time_us:
            changes.append(self._turn(time_us, max(time_us, clock_us), sequence))
        return changes

    def force(self, is_active: bool, since_us: int) -> None:
        """Take over a state that was recorded before a restart."""
        self.is_active = is_active
        self.since_us = since_us
        self.due_us = NEVER

    def _void_suppressed(self) -> None:
        """End a running delay without a change that planned work has broken into."""
        if self.due_us == NEVER:
            return
        start_us = self.due_us - (self._off_delay_us if self.is_active else self._on_delay_us)
        if any(start_us < span.to_us and span.from_us <= self.due_us for span in self._suppressed):
            self.due_us = NEVER

    def _turn(self, at_us: int, order_us: int, sequence: int) -> Change:
        # A reading that was on its way while the clock raised the alarm may be older than the alarm.
        self._turned_us = at_us = max(at_us, self._turned_us)
        self.is_active = not self.is_active
        self.due_us = NEVER
        return Change(at_us, self.is_active, order_us, sequence, self._last_us, self.since_us)
