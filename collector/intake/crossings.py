"""Does a reading cross a limit? Such a reading does not wait for the next commit."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from rules import SeriesRules


class Crossings:
    """How many limits each series is beyond; limits are those of its alarms.

    Parameters
    ----------
    series
        In the order of their index.
    """

    def __init__(self, series: Sequence[SeriesRules]) -> None:
        self._highs = [sorted(one.setpoint for one in each.limit_alarms if one.is_high) for each in series]
        # Negated, so that being below a low limit counts the same way.
        self._lows = [
            sorted(-one.setpoint for one in each.limit_alarms if not one.is_high) for each in series
        ]
        self._level = [0] * len(series)

    def crosses(self, series: int, value: float) -> bool:
        """Whether this reading is beyond other limits than the one before it; NaN crosses nothing."""
        if value != value:
            return False
        highs = self._highs[series]
        lows = self._lows[series]
        level = (bisect_left(highs, value) if highs else 0) - (bisect_left(lows, -value) if lows else 0)
        if level == self._level[series]:
            return False
        self._level[series] = level
        return True
