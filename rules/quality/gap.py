"""Gap (timing) test: is a reading preceded by a silence longer than the series may have?

The silence itself is alarmed by `rules.silence`; this test marks the reading that ends it.
"""

from __future__ import annotations

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import GapLimits

FAIL = int(Flag.FAIL) << SHIFT["gap"]


class Gap:
    """QARTOD test 1 (IOOS Manual for Real-Time QC of pH Data): FAIL after a gap; no suspect level.

    A silence of exactly the limit is none. Missing readings do not end one.
    """

    __slots__ = ("limit_us",)

    def __init__(self, limits: GapLimits) -> None:
        self.limit_us = limits.fail_after_us

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:  # noqa: ARG002 - one shape for all tests
        """Return this test's bits for a reading that comes `elapsed_us` behind the one before it."""
        return FAIL if elapsed_us > self.limit_us else 0
