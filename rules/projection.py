"""When will the danger line be reached if things go on like this?"""

from __future__ import annotations

import math
from collections.abc import Sequence
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


# Share of true crossings that lie between the earliest and the latest of `project_heat`, by design; what was
# measured stands in tests/rules/test_heat_projection.py.
HEAT_COVERAGE = 0.8
# How far the balance of heat may come to differ from what the last hour shows, as a share of its slope and at
# least in degC/h: rooms warm up, lamps come on, evaporation varies. Where the tank's day is known, and where
# it is not; chosen for `HEAT_COVERAGE` on computed tanks.
_DOUBT_OF_DAY = (0.3, 0.05)
_DOUBT = (0.55, 0.1)
_STEP_HOURS = 0.25


def project_heat(
    at_us: int,
    value: float,
    per_hour: float,
    time_constant_hours: float,
    low: float | None,
    high: float | None,
    *,
    day: Sequence[float] = (),
    hour: float = 0.0,
    slope_hours: float = 1.0,
) -> Projection | None:
    """Project a temperature that relaxes toward its equilibrium to the danger line ahead.

    With the time constant and the slope until now the equilibrium need not be known: the water changes
    by slope * tau in all. What lamps and room do in the course of a day is added where the tank's own day is
    known.

    Parameters
    ----------
    at_us, value
        Now, microseconds since 1970 UTC, and the temperature, degC.
    per_hour
        Its slope over the last `slope_hours`, degC/h; NaN where not known.
    time_constant_hours
        tau of the tank, h.
    low, high
        Danger lines, degC, None where there is none.
    day, hour
        What the day adds at each hour of the clock on the wall, degC/h, shape (24,), and that clock now;
        empty where it is not known.
    slope_hours
        A slope holds at the middle of its window.

    Returns
    -------
    Projection or None
        None if there is no line ahead or it is not reached within 48 h. Of true crossings `HEAT_COVERAGE` lie
        between the earliest and the latest; an edge is None where it lies beyond 48 h.
    """
    if not math.isfinite(per_hour) or per_hour == 0:
        return None
    line = high if per_hour > 0 else low
    if line is None or (line - value) * per_hour < 0:
        return None
    share, least = _DOUBT_OF_DAY if day else _DOUBT
    doubt = max(share * abs(per_hour), least)
    toward = math.copysign(doubt, per_hour)
    reached = [
        _hours_to(line, value, per_hour, slope, slope_hours / 2, time_constant_hours, day, hour)
        for slope in (per_hour, per_hour + toward, per_hour - toward)
    ]
    middle = reached[0]
    if middle is None:
        return None
    earliest, latest = (None if hours is None else at_us + round(hours * HOUR_US) for hours in reached[1:])
    return Projection(line, at_us + round(middle * HOUR_US), earliest, latest)


def _hours_to(
    line: float,
    value: float,
    seen: float,
    slope: float,
    age: float,
    tau: float,
    day: Sequence[float],
    hour: float,
) -> float | None:
    """Hours until a line is reached from `value`, None for never; `slope` held `age` hours ago."""
    start = value - seen * age
    base = _at_hour(day, hour - age)
    sign = 1.0 if line > value else -1.0
    now = value
    keep = math.exp(-_STEP_HOURS / tau)
    for count in range(int(FARTHEST_US / HOUR_US / _STEP_HOURS)):
        drive = slope + _at_hour(day, hour + (count + 0.5) * _STEP_HOURS) - base
        # Where this stretch would end for good; within a quarter of an hour nothing else changes.
        end = start + drive * tau
        then = end + (now - end) * keep
        if sign * (then - line) >= 0.0:
            return (count + (line - now) / (then - now)) * _STEP_HOURS
        now = then
    return None


def _at_hour(day: Sequence[float], hour: float) -> float:
    return day[int(hour % 24.0) % len(day)] if day else 0.0
