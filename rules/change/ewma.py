"""The exponentially weighted moving average: where does a series stand, its noise aside?

References
----------
Roberts (1959); NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator


def ewmas(values: Iterable[float], weight: float, start: float) -> Iterator[float]:
    """Give the average after each value; NaN changes nothing.

    Parameters
    ----------
    weight
        Lambda, over 0 to 1: the share of the newest value.
    start
        Where the average begins: the target, or the mean of earlier values.
    """
    average = start
    for value in values:
        if value == value:
            average += weight * (value - average)
        yield average


def control_limit(weight: float, width: float, count: int | None = None) -> float:
    """Distance of the control limits from the target, in standard deviations of single values.

    Parameters
    ----------
    width
        L, the width in standard deviations of the average.
    count
        Values since the start; None for the limit to which it tends.
    """
    variance = weight / (2.0 - weight)
    if count is not None:
        variance *= 1.0 - (1.0 - weight) ** (2 * count)
    return width * math.sqrt(variance)
