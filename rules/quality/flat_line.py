"""Flat line test: has a series stayed within its tolerance for longer than living water does?"""

from __future__ import annotations

from collections import deque

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import FlatLineLimits

SUSPECT = int(Flag.SUSPECT) << SHIFT["flat_line"]
FAIL = int(Flag.FAIL) << SHIFT["flat_line"]
NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["flat_line"]


class FlatLine:
    """QARTOD test 8 by elapsed time: the longest run ending here whose span is at most the tolerance.

    NOT_EVALUATED while nothing has moved since the record began, or since a gap longer than `gap_us`,
    and that was less than `suspect_after` ago. The run is kept as readings no older than `fail_after`
    (one more at its start), so state stays bounded however long a probe is stuck.
    """

    __slots__ = ("_gap_us", "_high", "_last_us", "_limits", "_low", "_run", "_stretch_us")

    def __init__(self, limits: FlatLineLimits, gap_us: int) -> None:
        self._limits = limits
        self._gap_us = gap_us
        self._run: deque[tuple[int, float]] = deque()
        self._low = self._high = 0.0
        self._last_us: int | None = None
        self._stretch_us = 0

    def judge(self, times_us: list[int], values: list[float], packed: list[int]) -> None:
        """Add this test's verdicts to `packed`; times increase strictly over all calls."""
        tolerance = self._limits.tolerance
        suspect_us, fail_us = self._limits.suspect_after_us, self._limits.fail_after_us
        gap_us, run = self._gap_us, self._run
        low, high, stretch_us = self._low, self._high, self._stretch_us
        last_us = times_us[0] - gap_us - 1 if self._last_us is None else self._last_us
        for position, time_us in enumerate(times_us):
            value = values[position]
            if time_us - last_us > gap_us:
                run.clear()
                low = high = value
                stretch_us = time_us
            last_us = time_us
            if value < low:
                low = value
            elif value > high:
                high = value
            if high - low > tolerance:
                if abs(value - run[-1][1]) > tolerance:
                    # The usual case of living water, where no reading is like the one before.
                    run.clear()
                    low = high = value
                else:
                    low, high = self._shorten_run(value, tolerance)
            run.append((time_us, value))
            flat_us = time_us - run[0][0]
            if flat_us >= suspect_us:
                packed[position] |= FAIL if flat_us >= fail_us else SUSPECT
                while time_us - run[1][0] >= fail_us:
                    run.popleft()
            elif run[0][0] == stretch_us:
                packed[position] |= NOT_EVALUATED
        self._low, self._high, self._stretch_us, self._last_us = low, high, stretch_us, last_us

    def _shorten_run(self, value: float, tolerance: float) -> tuple[float, float]:
        """Drop the oldest readings until the run and `value` fit the tolerance; return the new span."""
        low = high = value
        kept = 0
        for _, earlier in reversed(self._run):
            if max(high, earlier) - min(low, earlier) > tolerance:
                break
            low, high = min(low, earlier), max(high, earlier)
            kept += 1
        while len(self._run) > kept:
            self._run.popleft()
        return low, high
