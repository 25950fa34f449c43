"""The alarm of a series that has fallen silent, and of a board whose last will was published.

Silence counts only while the service is listening: an outage of its own, or a backlog being drained,
says nothing about a probe.
"""

from __future__ import annotations

from rules.alarm import BY_CLOCK, NEVER, Change
from rules.planned_work import Span
from rules.survey import Survey


class Silence:
    """Raised when a series has had no reading for `limit_us`, returned to normal by the next one.

    A reading at the very limit is in time, as in the gap test. While planned work suppresses it by design,
    silence is not raised; it is at the end of that, where it still lasts.
    """

    __slots__ = (
        "_lag_us",
        "_last_us",
        "_limit_us",
        "_listening_from_us",
        "_raised_us",
        "_suppressed",
        "is_active",
    )

    def __init__(self, limit_us: int) -> None:
        self._limit_us = limit_us
        self._last_us: int | None = None
        self._lag_us = 0
        self._listening_from_us = -NEVER
        self._raised_us = -NEVER
        self._suppressed: tuple[Span, ...] = ()
        self.is_active = False

    def suppress(self, suppressed: tuple[Span, ...]) -> None:
        """Raise nothing in these stretches of time (in order), instead of those told before."""
        self._suppressed = suppressed

    def hidden_us(self, clock_us: int) -> int:
        """The instant from which silence is suppressed at this moment, NEVER where it is not."""
        if self.is_active or self._last_us is None:
            return NEVER
        limit_us = max(self._last_us, self._listening_from_us) + self._limit_us
        return limit_us if limit_us <= clock_us < self._due_us(self._last_us) else NEVER

    def _due_us(self, last_us: int) -> int:
        """When silence since that reading is raised."""
        due_us = max(last_us, self._listening_from_us) + self._limit_us
        for span in self._suppressed:
            if span.from_us <= due_us < span.to_us:
                due_us = span.to_us
        return due_us

    def listen_from(self, time_us: int) -> None:
        """Count silence from this instant at the earliest."""
        self._listening_from_us = time_us

    def force(self, is_active: bool) -> None:
        """Take over a state that was recorded before a restart."""
        self.is_active = is_active

    def remember(self, last_us: int) -> None:
        """Take over when the last reading was."""
        self._last_us = last_us

    @property
    def due_us(self) -> int:
        """When the silence becomes an alarm if nothing is heard; readings only make it later."""
        if self.is_active or self._last_us is None:
            return NEVER
        return self._due_us(self._last_us)

    def expire(self, clock_us: int) -> Change | None:
        """Let the silence become an alarm by the clock alone."""
        due_us = self.due_us
        if self._last_us is None or due_us + self._lag_us > clock_us:
            return None
        self.is_active = True
        self._raised_us = due_us
        return Change(due_us, True, due_us + self._lag_us, BY_CLOCK, self._last_us, self._last_us)

    def judge(
        self,
        times_us: list[int],
        sequences: list[int],
        clocks_us: list[int],
        is_listening: bool,
        survey: Survey | None = None,
    ) -> list[Change]:
        """Take readings in order; times increase strictly over all calls."""
        if self._keeps_quiet(times_us, clocks_us, survey):
            return []
        changes: list[Change] = []
        if self._last_us is None:
            first_us, clock_us = times_us[0], clocks_us[0]
            self._last_us, self._lag_us = first_us, max(0, clock_us - first_us)
            if self.is_active:
                # Silent since before the look-back of a restart.
                changes.append(self._end(first_us, sequences[0], clock_us, first_us))
            times_us, sequences, clocks_us = times_us[1:], sequences[1:], clocks_us[1:]
            if not times_us or self._keeps_quiet(times_us, clocks_us, survey):
                return changes
        last_us, lag_us = self._last_us, self._lag_us
        for time_us, sequence, clock_us in zip(times_us, sequences, clocks_us, strict=True):
            due_us = self._due_us(last_us)
            if is_listening and not self.is_active:
                if due_us + lag_us <= clock_us:
                    self.is_active, self._raised_us = True, due_us
                    changes.append(Change(due_us, True, due_us + lag_us, BY_CLOCK, last_us, last_us))
                elif due_us < time_us:
                    self.is_active, self._raised_us = True, due_us
                    changes.append(Change(due_us, True, max(due_us, clock_us), sequence, last_us, last_us))
            if self.is_active:
                changes.append(self._end(time_us, sequence, clock_us, last_us))
            last_us = time_us
            lag_us = max(0, clock_us - time_us)
        self._last_us, self._lag_us = last_us, lag_us
        return changes

    def _end(self, time_us: int, sequence: int, clock_us: int, since_us: int) -> Change:
        self.is_active = False
        # A reading that was on its way while the clock raised the alarm may be older than the alarm.
        at_us = max(time_us, self._raised_us)
        return Change(at_us, False, max(at_us, clock_us), sequence, time_us, since_us)

    def _keeps_quiet(self, times_us: list[int], clocks_us: list[int], survey: Survey | None) -> bool:
        """Whether none of these readings can have been preceded by silence; if so, take note of them."""
        if self.is_active or self._last_us is None:
            return False
        limit_us, last_us = self._limit_us, self._last_us
        # Of surveyed readings only the first is left to look at.
        is_settled = survey is not None and survey.longest_wait_us < limit_us
        for place in range(1 if is_settled else len(times_us)):
            deadline_us = last_us + limit_us
            if times_us[place] >= deadline_us or clocks_us[place] >= deadline_us:
                return False
            last_us = times_us[place]
        last_us, lag_us = times_us[-1], clocks_us[-1] - times_us[-1]
        self._last_us, self._lag_us = last_us, lag_us if lag_us > 0 else 0
        return True
