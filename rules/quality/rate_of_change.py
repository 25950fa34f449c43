"""Rate of change test: has the value moved faster between two readings than water can, or usually does?"""

from __future__ import annotations

import math

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.quality.spread import Spread
from rules.setup import HOUR_US, RateOfChangeLimits
from rules.survey import Stretch

_SUSPECT = int(Flag.SUSPECT) << SHIFT["rate_of_change"]
NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["rate_of_change"]


class RateOfChange:
    """QARTOD test 7: SUSPECT above a fixed rate, or above so many recent standard deviations.

    There is no fail level. The first reading, and the first after a gap longer than `gap_us` or after a
    missing reading, are NOT_EVALUATED: a rate over an outage would be invented. So are readings while
    deviations are all there is to judge by and their window is not filled.

    Parameters
    ----------
    limits
        One or both limits.
    gap_us
        Longest time between two readings over which a rate is taken.
    plausible
        What the sensor can show; other readings do not count towards the spread, which one of them would
        blow up for a day.
    """

    __slots__ = (
        "_cell_end_us",
        "_deviations",
        "_gap_us",
        "_has_rate",
        "_high",
        "_last",
        "_least_change",
        "_low",
        "_most",
        "_per_us",
        "spread",
    )

    def __init__(
        self, limits: RateOfChangeLimits, gap_us: int, plausible: tuple[float, float] = (-math.inf, math.inf)
    ) -> None:
        self._deviations = limits.deviations or 0.0
        self._least_change = limits.least_change
        self._has_rate = limits.suspect_per_hour is not None
        self._per_us = math.inf if limits.suspect_per_hour is None else limits.suspect_per_hour / HOUR_US
        self._gap_us = gap_us
        self._low, self._high = plausible
        self.spread = None if limits.deviations is None else Spread(limits.window_us)
        # Largest change by the deviations, NaN while they are not known.
        self._most = math.nan
        self._cell_end_us = 0
        self._last = math.nan

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:
        """Return this test's bits for a reading that comes `elapsed_us` behind the one before it."""
        change = value - self._last
        if change < 0.0:
            change = -change
        self._last = value
        if elapsed_us > self._gap_us or change != change:
            bits = NOT_EVALUATED
        else:
            bits = _SUSPECT if change > self._per_us * elapsed_us else 0
        spread = self.spread
        if spread is None:
            return bits
        if time_us >= self._cell_end_us:
            spread.close(time_us)
            self._cell_end_us = spread.end_us
            # A maximum in this order keeps NaN.
            self._most = max(self._deviations * spread.deviation, self._least_change)
        if self._low <= value <= self._high:
            spread.readings.append(value)
        if not bits:
            if change > self._most:
                return _SUSPECT
            if self._most != self._most and not self._has_rate:
                return NOT_EVALUATED
        return bits

    def passes(self, times_us: list[int], values: list[float], stretch: Stretch) -> bool:  # noqa: ARG002 - one shape
        """Take a stretch at once if all of it passes; else leave it as it was."""
        if self.spread is not None or self._last != self._last or stretch.longest_us > self._gap_us:
            return False
        if not stretch.greatest_step <= self._per_us * stretch.shortest_us:
            return False
        self._last = values[stretch.end - 1]
        return True

    def miss(self) -> None:
        """Take note that a reading is missing here."""
        self._last = math.nan
