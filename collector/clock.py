"""The clock that the service is given: the wall clock, or one that runs faster and elsewhere.

Demo, rehearsal and soak run tank time at a rate; everything that asks for the time asks this object.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

# Under which the service notes its clock, for commands in other processes.
NOTE = "clock"


# A delay of ten minutes lasts eleven while a clock that was set back by an hour catches up, in ten hours.
_LEAST_PACE = 0.9


def _wall_us() -> int:
    return time.time_ns() // 1000


class SteadyWall:
    """The wall clock, but never running backwards, and never slower than nine tenths of the time that passes.

    A machine whose clock was set back, or that boots with one of yesterday, would call everything late for as
    long, and ring for none of it. So from what was known time goes on, a little slower than it passes, until
    the wall has caught up.

    Parameters
    ----------
    known_us
        An instant that has been, microseconds since 1970 UTC.
    wall, monotonic
        Where the wall's microseconds and seconds that only pass come from.
    """

    def __init__(
        self,
        known_us: int,
        wall: Callable[[], int] = _wall_us,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._wall, self._monotonic = wall, monotonic
        self._lock = threading.Lock()
        self._at_us, self._at_s = known_us, monotonic()
        self.lead_us = 0
        self()

    def __call__(self) -> int:
        """Now, microseconds since 1970 UTC; `lead_us` then says how far before the wall that is."""
        with self._lock:
            wall_us, now_s = self._wall(), self._monotonic()
            least_us = self._at_us + int((now_s - self._at_s) * _LEAST_PACE * 1e6)
            self._at_us, self._at_s = max(wall_us, least_us), now_s
            self.lead_us = self._at_us - wall_us
            return self._at_us


@dataclass(frozen=True, slots=True)
class Clock:
    """Tank time as a straight line over wall time.

    Parameters
    ----------
    start_us
        Tank time at the moment of construction, microseconds since 1970 UTC; None is now.
    rate
        Tank seconds per wall second, > 0.
    wall
        Where wall time in microseconds comes from.
    end_us
        Tank time from which on it stands still; None for never.
    """

    start_us: int | None = None
    rate: float = 1.0
    wall: Callable[[], int] = _wall_us
    end_us: int | None = None
    _wall_start_us: int = field(init=False)

    def __post_init__(self) -> None:
        if self.rate <= 0:
            raise ValueError(f"a clock's rate must be above 0, got {self.rate}")
        object.__setattr__(self, "_wall_start_us", self.wall())

    def now_us(self) -> int:
        """Tank time now, microseconds since 1970 UTC."""
        wall_us = self.wall()
        if self.start_us is None and self.rate == 1.0 and self.end_us is None:
            return wall_us
        start_us = self._wall_start_us if self.start_us is None else self.start_us
        now_us = start_us + int((wall_us - self._wall_start_us) * self.rate)
        return now_us if self.end_us is None else min(now_us, self.end_us)

    def note(self) -> str:
        """What `of_note` needs to go on with this clock; "" for the wall clock."""
        if self.start_us is None and self.rate == 1.0:
            return ""
        return f"{self.now_us()} {self.wall()} {self.rate!r}"

    @classmethod
    def of_note(cls, note: str | None, wall: Callable[[], int] = _wall_us) -> Clock:
        """The clock that made a note, in another process or later; the wall clock without one."""
        if not note:
            return cls(wall=wall)
        tank_us, wall_us, rate = note.split()
        gone_us = int((wall() - int(wall_us)) * float(rate))
        return cls(int(tank_us) + gone_us, float(rate), wall)

    def wall_seconds(self, tank_us: int) -> float:
        """How many wall seconds a stretch of tank time takes."""
        return tank_us / 1e6 / self.rate
