"""Rate of change test: has the value moved faster between two readings than water can?"""

from __future__ import annotations

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import HOUR_US, RateOfChangeLimits

_SUSPECT = int(Flag.SUSPECT) << SHIFT["rate_of_change"]
_NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["rate_of_change"]


class RateOfChange:
    """QARTOD test 7 with a fixed threshold per hour: SUSPECT above it, there is no fail level.

    The first reading, and the first after a gap longer than `gap_us`, are NOT_EVALUATED: a rate over
    an outage would be invented.
    """

    __slots__ = ("_gap_us", "_last_us", "_last_value", "_per_us")

    def __init__(self, limits: RateOfChangeLimits, gap_us: int) -> None:
        self._per_us = limits.suspect_per_hour / HOUR_US
        self._gap_us = gap_us
        self._last_us: int | None = None
        self._last_value = 0.0

    def judge(self, times_us: list[int], values: list[float], packed: list[int]) -> None:
        """Add this test's verdicts to `packed`; times increase strictly over all calls."""
        per_us, gap_us = self._per_us, self._gap_us
        last_us, last_value = self._last_us, self._last_value
        if last_us is None:
            last_us = times_us[0] - gap_us - 1
        for position, time_us in enumerate(times_us):
            value = values[position]
            elapsed_us = time_us - last_us
            if abs(value - last_value) > per_us * elapsed_us or elapsed_us > gap_us:
                packed[position] |= _NOT_EVALUATED if elapsed_us > gap_us else _SUSPECT
            last_us, last_value = time_us, value
        self._last_us, self._last_value = last_us, last_value
