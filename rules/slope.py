"""The robust slope of a few evenly spaced values: which way, how fast, how surely?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rules.trace import NAN

_FEWEST_PAIRS = 6


class Slope(NamedTuple):
    """Median of pairwise slopes per hour, and their 10 % and 90 % quantiles; NaN where not known."""

    median: float
    low: float
    high: float

    @property
    def is_known(self) -> bool:
        """Whether there were values enough."""
        return self.median == self.median


UNKNOWN = Slope(NAN, NAN, NAN)


def robust_slope(values: Sequence[float], hours_apart: float) -> Slope:
    """Slope of values that follow one another at equal distances; NaN is left out.

    Parameters
    ----------
    values
        At most a dozen or so: the cost grows with the square.
    hours_apart
        Distance of neighbours, h.

    References
    ----------
    Theil (1950), Sen (1968): median of all pairwise slopes.
    """
    known = [(place, value) for place, value in enumerate(values) if value == value]
    slopes = [
        (later - value) / (after - place)
        for index, (place, value) in enumerate(known)
        for after, later in known[index + 1 :]
    ]
    count = len(slopes)
    if count < _FEWEST_PAIRS or known[-1][0] - known[0][0] < len(values) // 2:
        return UNKNOWN
    slopes.sort()
    tenth = (count - 1) // 10
    median = (slopes[(count - 1) // 2] + slopes[count // 2]) / 2
    return Slope(median / hours_apart, slopes[tenth] / hours_apart, slopes[count - 1 - tenth] / hours_apart)
