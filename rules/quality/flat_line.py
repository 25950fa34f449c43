"""Flat line test: has a series stayed within its tolerance for longer than living water does?"""

from __future__ import annotations

import math
from collections import deque

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import FlatLineLimits
from rules.survey import Stretch

SUSPECT = int(Flag.SUSPECT) << SHIFT["flat_line"]
FAIL = int(Flag.FAIL) << SHIFT["flat_line"]
NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["flat_line"]
# Far below any probe's step, far above what decimals lose in binary: 25.1 - 25.0 is a step of 0.1.
ROUNDING = 1e-9


class FlatLine:
    """QARTOD test 8 by elapsed time: the longest run ending here whose span is at most the tolerance.

    NOT_EVALUATED while nothing has moved since the record began, or since a gap longer than `gap_us`,
    and that was less than `suspect_after` ago. Of the run the first reading of each stretch of equal ones
    is kept, none older than `fail_after` (but one at its start), so state stays bounded however long a probe
    is stuck.
    """

    __slots__ = (
        "_gap_us",
        "_high",
        "_last",
        "_limits",
        "_low",
        "_run",
        "_since_us",
        "_stretch_us",
        "_tolerance",
    )

    def __init__(self, limits: FlatLineLimits, gap_us: int) -> None:
        self._limits = limits
        self._tolerance = limits.tolerance + ROUNDING
        self._gap_us = gap_us
        # First instant and value of each stretch of the run; empty while there is but one.
        self._run: deque[tuple[int, float]] = deque()
        self._low = self._high = 0.0
        self._last = math.nan
        self._since_us = self._stretch_us = 0

    def __len__(self) -> int:
        return len(self._run)

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:
        """Return this test's bits for a reading that comes `elapsed_us` behind the one before it."""
        last = self._last
        self._last = value
        step = value - last
        if not -self._tolerance <= step <= self._tolerance or elapsed_us > self._gap_us:
            # The usual case of living water, where no reading is like the one before.
            self._since_us = time_us
            self._low = self._high = value
            if self._run:
                self._run.clear()
            if elapsed_us > self._gap_us or step != step:
                self._stretch_us = time_us
                return NOT_EVALUATED
            return 0
        if step != 0.0:
            self._extend_run(time_us, value, last)
        flat_us = time_us - self._since_us
        if flat_us >= self._limits.suspect_after_us:
            if flat_us < self._limits.fail_after_us:
                return SUSPECT
            self._forget(time_us)
            return FAIL
        return NOT_EVALUATED if self._since_us == self._stretch_us else 0

    def passes(self, times_us: list[int], values: list[float], stretch: Stretch) -> bool:
        """Take a stretch at once if all of it passes, and something moves in it; else leave it as it was."""
        tolerance = self._tolerance
        if not stretch.greatest_step > tolerance or stretch.longest_us > self._gap_us:
            return False
        if self._last != self._last or self._since_us == self._stretch_us:
            return False
        if times_us[stretch.end - 1] - self._since_us >= self._limits.suspect_after_us:
            return False
        # Nothing is left of what was before the last move.
        place = stretch.end - 1
        while -tolerance <= values[place] - values[place - 1] <= tolerance:
            place -= 1
        self._last = values[place - 1]
        for position in range(place, stretch.end):
            self.judge(times_us[position], values[position], times_us[position] - times_us[position - 1])
        return True

    def _extend_run(self, time_us: int, value: float, last: float) -> None:
        """Begin another stretch, and drop the oldest until the run fits the tolerance."""
        run = self._run
        if not run:
            run.append((self._since_us, last))
        if value < self._low:
            self._low = value
        elif value > self._high:
            self._high = value
        if self._high - self._low > self._tolerance:
            low = high = value
            kept = 0
            for _, earlier in reversed(run):
                if max(high, earlier) - min(low, earlier) > self._tolerance:
                    break
                low, high = min(low, earlier), max(high, earlier)
                kept += 1
            while len(run) > kept:
                run.popleft()
            self._low, self._high = low, high
        run.append((time_us, value))
        self._since_us = run[0][0]

    def _forget(self, time_us: int) -> None:
        """Drop stretches that a verdict of FAIL does not need."""
        run = self._run
        oldest_us = time_us - self._limits.fail_after_us
        while len(run) > 1 and run[1][0] <= oldest_us:
            run.popleft()
            self._since_us = run[0][0]
