"""How long to wait after a failure, and how much to send at once."""

from __future__ import annotations

import random
from collections.abc import Callable

# A server that restarts is back within seconds; one that is away for hours need not be asked more often than
# every five minutes, which is also how soon the backlog begins to move when it is back.
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 300.0
# What InfluxData recommends for one request, and where a larger one brings no more speed.
MOST_POINTS = 5000
FEWEST_POINTS = 100


class Pace:
    """Doubles its pauses while nothing goes through, and halves batches that take too long.

    Parameters
    ----------
    most
        The largest batch.
    first_pause_s, longest_pause_s
        See `FIRST_PAUSE_S` and `LONGEST_PAUSE_S`.
    chance
        A number from 0 to 1 each time: many that lost the same server must not come back at once.
    """

    def __init__(
        self,
        *,
        most: int = MOST_POINTS,
        first_pause_s: float = FIRST_PAUSE_S,
        longest_pause_s: float = LONGEST_PAUSE_S,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._most, self._first_s, self._longest_s = most, first_pause_s, longest_pause_s
        self._chance = chance
        self._failures = 0
        self.batch = most

    def succeed(self) -> None:
        """A batch went through."""
        self._failures = 0
        # Slowly back up: each batch that is too large costs its time, and is sent twice.
        self.batch = min(self._most, self.batch + self._most // 20)

    def fail(self, *, retry_after_s: float = 0.0, is_slow: bool = False) -> float:
        """A batch did not; return for how many seconds to wait, at least as long as was asked for."""
        if is_slow:
            self.batch = max(FEWEST_POINTS, self.batch // 2)
        # 2**20 first pauses are days: beyond it only the longest counts.
        pause_s = min(self._longest_s, self._first_s * 2.0 ** min(self._failures, 20))
        self._failures += 1
        return max(retry_after_s, pause_s * (0.5 + self._chance() / 2))
