"""Gross range test: can the sensor give this value, and does the keeper expect it at all?"""

from __future__ import annotations

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import GrossRangeLimits

FAIL = int(Flag.FAIL) << SHIFT["gross_range"]
_SUSPECT = int(Flag.SUSPECT) << SHIFT["gross_range"]


class GrossRange:
    """QARTOD test 4: FAIL outside the sensor span, SUSPECT outside the operator span; bounds are inside.

    Attributes
    ----------
    low, high
        A value between these passes.
    """

    __slots__ = ("_limits", "high", "low")

    def __init__(self, limits: GrossRangeLimits) -> None:
        self._limits = limits
        self.low = max(limits.sensor_low, limits.usual_low)
        self.high = min(limits.sensor_high, limits.usual_high)

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:  # noqa: ARG002 - one shape for all tests
        """Return this test's bits for a value; an infinite one is beyond any sensor."""
        if self.low <= value <= self.high:
            return 0
        return _SUSPECT if self._limits.sensor_low <= value <= self._limits.sensor_high else FAIL
