"""The two-sided tabular CUSUM: has a mean moved, by which way, and since when?

References
----------
Page (1954); NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple


class Cusum(NamedTuple):
    """State of the chart after a value.

    Parameters
    ----------
    high, low
        C+ and C-: what has gathered above and below the target beyond the allowance, both >= 0.
    high_since, low_since
        Position of the value with which each began to gather; that of the next value while it is 0.
    """

    high: float
    low: float
    high_since: int
    low_since: int


def cusums(deviations: Iterable[float], allowance: float) -> Iterator[Cusum]:
    """Give the state of the chart after each value; NaN changes nothing.

    Parameters
    ----------
    deviations
        Values less their target.
    allowance
        K, in the unit of the values: half the shift that is to be found soonest.
    """
    high = low = 0.0
    high_since = low_since = 0
    for place, deviation in enumerate(deviations):
        if deviation == deviation:
            high += deviation - allowance
            if high <= 0.0:
                high, high_since = 0.0, place + 1
            low -= deviation + allowance
            if low <= 0.0:
                low, low_since = 0.0, place + 1
        yield Cusum(high, low, high_since, low_since)


def cusum(deviations: Iterable[float], allowance: float) -> Cusum:
    """Give the state of the chart after the last value; see `cusums`."""
    state = Cusum(0.0, 0.0, 0, 0)
    for state in cusums(deviations, allowance):  # noqa: B007 - the last one is returned
        pass
    return state
