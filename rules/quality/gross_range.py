"""Gross range test: can the sensor give this value, and does the keeper expect it at all?"""

from __future__ import annotations

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import GrossRangeLimits

FAIL = int(Flag.FAIL) << SHIFT["gross_range"]
_SUSPECT = int(Flag.SUSPECT) << SHIFT["gross_range"]


class GrossRange:
    """QARTOD test 4: FAIL outside the sensor span, SUSPECT outside the operator span; bounds are inside."""

    __slots__ = ("_high", "_limits", "_low")

    def __init__(self, limits: GrossRangeLimits) -> None:
        self._limits = limits
        self._low = max(limits.sensor_low, limits.usual_low)
        self._high = min(limits.sensor_high, limits.usual_high)

    def judge(self, times_us: list[int], values: list[float], packed: list[int]) -> None:  # noqa: ARG002 - one shape for all tests
        """Add this test's verdicts to `packed`."""
        low, high = self._low, self._high
        if min(values) >= low and max(values) <= high:
            return
        sensor_low, sensor_high = self._limits.sensor_low, self._limits.sensor_high
        for position, value in enumerate(values):
            if not low <= value <= high:
                packed[position] |= _SUSPECT if sensor_low <= value <= sensor_high else FAIL
