"""When will the danger line be reached if things go on like this?"""

from __future__ import annotations

import math
from typing import NamedTuple

from rules.setup import HOUR_US

# Beyond two days a straight line through the last hour says nothing about a tank.
FARTHEST_US = 48 * HOUR_US


class Projection(NamedTuple):
    """The danger line and when it is reached: at the median slope, and at the slope's quantiles."""

    danger: float
    at_us: int
    earliest_us: int | None
    latest_us: int | None


def _reach_us(value: float, line: float, per_hour: float) -> int | None:
    if not math.isfinite(per_hour) or per_hour == 0:
        return None
    hours = (line - value) / per_hour
    if hours < 0 or hours * HOUR_US > FARTHEST_US:
        return None
    return round(hours * HOUR_US)


def project(
    at_us: int, value: float, slope: tuple[float, float, float], low: float | None, high: float | None
) -> Projection | None:
    """Project a straight line from `value` at `at_us` to the danger line ahead.

    Parameters
    ----------
    slope
        Median slope per hour and its 10 % and 90 % quantiles; NaN where not known.
    low, high
        Danger lines in the unit of `value`, None where there is none.

    Returns
    -------
    Projection or None
        None if there is no line ahead, the line is already crossed, or it is more than 48 h away.
        An edge of the interval is None where that slope does not reach the line within 48 h.
    """
    median, lower, upper = slope
    if not math.isfinite(median) or median == 0:
        return None
    line = high if median > 0 else low
    if line is None:
        return None
    ahead_us = _reach_us(value, line, median)
    if ahead_us is None:
        return None
    steep, shallow = (upper, lower) if median > 0 else (lower, upper)
    earliest_us, latest_us = _reach_us(value, line, steep), _reach_us(value, line, shallow)
    return Projection(
        line,
        at_us + ahead_us,
        None if earliest_us is None else at_us + earliest_us,
        None if latest_us is None else at_us + latest_us,
    )
