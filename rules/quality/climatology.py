"""Climatology test: is a value unusual for this time of the day, the week and the year?

Two things can say what is usual: the band that was learned of this very series, and fixed spans by the
calendar. Either may be there; a value must suit both.
"""

from __future__ import annotations

import math
from typing import Protocol

from rules.baseline import Band
from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.quality.season import QUARTER_US, season_at
from rules.setup import ClimatologyLimits

_SUSPECT = int(Flag.SUSPECT) << SHIFT["climatology"]
_FAIL = int(Flag.FAIL) << SHIFT["climatology"]
NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["climatology"]


class BandSource(Protocol):
    """Who knows the usual band; a baseline does."""

    def band_at(self, time_us: int) -> Band:
        """Return the band at an instant, constant within a quarter of an hour; NaN where it is not known."""
        ...


class Climatology:
    """QARTOD test 5: SUSPECT outside what is usual now, bounds are inside; NOT_EVALUATED if that is unknown.

    The band is asked for once a quarter of an hour, at its beginning, and widened about its centre by the
    factor of the limits. The manual has no fail level; seasons can have one.

    Attributes
    ----------
    low, high, until_us
        A value between these bounds, before that instant, has the bits `usual`.
    usual
        0, or NOT_EVALUATED where there is neither a band nor a season.
    """

    __slots__ = ("_fail_high", "_fail_low", "_limits", "_source", "high", "low", "until_us", "usual")

    def __init__(self, limits: ClimatologyLimits) -> None:
        self._limits = limits
        self._source: BandSource | None = None
        self.set_band_source(None)

    def set_band_source(self, source: BandSource | None) -> None:
        """Judge by this band from the next reading on; None while it is learned."""
        self._source = source
        self.until_us = -(2**62)
        self.low = self._fail_low = -math.inf
        self.high = self._fail_high = math.inf
        self.usual = NOT_EVALUATED

    def look_up(self, time_us: int) -> None:
        """Find what is usual from this instant on."""
        limits = self._limits
        low, high = -math.inf, math.inf
        fail_low, fail_high = low, high
        is_known = False
        self.until_us = time_us - time_us % QUARTER_US + QUARTER_US
        if limits.seasons:
            season, self.until_us = season_at(limits.seasons, limits.time_zone, time_us)
            if season is not None:
                low, high = season.low, season.high
                fail_low, fail_high = season.fail_low, season.fail_high
                is_known = True
        if self._source is not None and limits.suspect_widths is not None:
            band = self._source.band_at(time_us - time_us % QUARTER_US)
            below = band.centre - limits.suspect_widths * (band.centre - band.low)
            above = band.centre + limits.suspect_widths * (band.high - band.centre)
            if below <= above:
                low, high = max(low, below), min(high, above)
                is_known = True
        # A fail span that is narrower than the other counts all the same.
        self.low, self.high = max(low, fail_low), min(high, fail_high)
        self._fail_low, self._fail_high = fail_low, fail_high
        self.usual = 0 if is_known else NOT_EVALUATED

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:  # noqa: ARG002 - one shape for all tests
        """Return this test's bits for a reading; times increase over all calls."""
        if time_us >= self.until_us:
            self.look_up(time_us)
        if self.low <= value <= self.high:
            return self.usual
        return _SUSPECT if self._fail_low <= value <= self._fail_high else _FAIL
