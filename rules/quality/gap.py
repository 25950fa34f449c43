"""Gap (timing) test: is a reading preceded by a silence longer than the series may have?

The silence itself is alarmed by `rules.silence`; this test marks the reading that ends it.
"""

from __future__ import annotations

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import GapLimits

_FAIL = int(Flag.FAIL) << SHIFT["gap"]


class Gap:
    """QARTOD test 1 (IOOS Manual for Real-Time QC of pH Data): FAIL after a gap; no suspect level."""

    __slots__ = ("_last_us", "_limit_us")

    def __init__(self, limits: GapLimits) -> None:
        self._limit_us = limits.fail_after_us
        self._last_us: int | None = None

    def judge(self, times_us: list[int], values: list[float], packed: list[int]) -> None:  # noqa: ARG002 - one shape for all tests
        """Add this test's verdicts to `packed`; times increase strictly over all calls."""
        limit_us = self._limit_us
        last_us = times_us[0] if self._last_us is None else self._last_us
        for position, time_us in enumerate(times_us):
            if time_us - last_us > limit_us:
                packed[position] |= _FAIL
            last_us = time_us
        self._last_us = last_us
