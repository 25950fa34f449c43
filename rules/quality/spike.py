"""Spike test: does one reading stand apart from both its neighbours?

A reading can be judged only when the next one is there, so the newest reading of a series is always
pending: it carries no bits of this test, and its verdict comes one reading late.
"""

from __future__ import annotations

import math

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import SpikeLimits
from rules.survey import Stretch

_SUSPECT = int(Flag.SUSPECT) << SHIFT["spike"]
_FAIL = int(Flag.FAIL) << SHIFT["spike"]
NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["spike"]
# A sum or difference of two values is off by less than this share of both.
_ROUNDING = 2.0**-52


class Spike:
    """QARTOD test 6: how far x[n-1] stands apart from x[n-2] and x[n], by the method of the limits.

    More than `suspect` is SUSPECT, more than `fail` is FAIL. A reading that has a gap longer than
    `gap_us`, a missing reading or nothing beside it is NOT_EVALUATED, for it has only one neighbour.

    Attributes
    ----------
    revised
        Bits of the reading before the one judged last, 0 where it passed or had its bits before.
    """

    __slots__ = ("_before", "_fail", "_gap_us", "_is_average", "_last", "_least", "revised")

    def __init__(self, limits: SpikeLimits, gap_us: int) -> None:
        self._fail = math.inf if limits.fail is None else limits.fail
        self._least = min(self._fail, math.inf if limits.suspect is None else limits.suspect)
        self._is_average = limits.method == "average"
        self._gap_us = gap_us
        # NaN where there is no neighbour.
        self._last = self._before = math.nan
        self.revised = 0

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:  # noqa: ARG002 - one shape for all tests
        """Return the bits of a reading, and put those of the one before it into `revised`."""
        last = self._last
        if self._is_average:
            distance = abs(last - (self._before + value) * 0.5)
        else:
            left, right = last - self._before, value - last
            product = left * right
            distance = min(abs(left), abs(right)) if product < 0.0 else 0.0 * product
        if distance <= self._least and elapsed_us <= self._gap_us:
            self.revised = 0
            self._before, self._last = last, value
            return 0
        if elapsed_us > self._gap_us:
            self.miss()
            self._last = value
            return NOT_EVALUATED
        self.revised = 0 if distance != distance else _FAIL if distance > self._fail else _SUSPECT
        self._before, self._last = last, value
        return 0 if last == last else NOT_EVALUATED

    def passes(self, times_us: list[int], values: list[float], stretch: Stretch) -> bool:  # noqa: ARG002 - one shape
        """Take a stretch at once if all of it passes, and the reading before it; else leave it as it was."""
        farthest = stretch.greatest_step
        if self._is_average:
            # No farther from the mean of its neighbours than from the farther one, but for rounding.
            last, before = self._last, self._before
            farthest = max(farthest, abs(last - before))
            farthest += _ROUNDING * (abs(last) + abs(before) + abs(stretch.low) + abs(stretch.high))
        if not farthest <= self._least or stretch.longest_us > self._gap_us or self._last != self._last:
            return False
        self.revised = 0
        self._before = values[stretch.end - 2] if stretch.end - stretch.start > 1 else self._last
        self._last = values[stretch.end - 1]
        return True

    def miss(self) -> None:
        """Take note that a reading is missing here: neither side has it for a neighbour."""
        self.revised = NOT_EVALUATED if self._before == self._before else 0
        self._before = self._last = math.nan
