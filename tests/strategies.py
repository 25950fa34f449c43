"""Hypothesis strategies for readings, in one place."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from rules import (
    MICROSECONDS,
    Block,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    LimitAlarm,
    Priority,
    RateAlarm,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
    TankRules,
)

MINUTE = 60 * MICROSECONDS
START_US = 1_790_000_000 * MICROSECONDS


def limit(
    setpoint: float, *, is_high: bool, is_danger: bool = False, delay_us: int = 2 * MINUTE
) -> LimitAlarm:
    """A limit alarm with a small deadband."""
    priority = Priority.URGENT if is_danger else Priority.HIGH
    return LimitAlarm(setpoint, is_high, is_danger, 0.2, delay_us, delay_us, priority)


def eventful_rules() -> EngineRules:
    """Three series whose limits the streams below cross often: two of one tank, one of another."""
    common = {
        "gross_range": GrossRangeLimits(-5.0, 60.0, 15.0, 35.0),
        "spike": SpikeLimits(0.8, 2.0),
        "rate_of_change": RateOfChangeLimits(90.0),
        "flat_line": FlatLineLimits(0.01, MINUTE, 2 * MINUTE),
        "gap": GapLimits(8 * MINUTE),
        "rate_alarm": RateAlarm(3.0, 20 * MINUTE, 5 * MINUTE, 5 * MINUTE, Priority.LOW),
    }
    limits = (
        limit(24.0, is_high=False),
        limit(26.0, is_high=True),
        limit(23.0, is_high=False, is_danger=True),
        limit(27.0, is_high=True, is_danger=True, delay_us=0),
    )
    heated = frozenset({"heater"})
    return EngineRules(
        tanks=(TankRules("reef", equipment=heated), TankRules("nursery", equipment=heated)),
        series=(
            SeriesRules("reef", "temperature", "temperature", limit_alarms=limits, **common),
            SeriesRules("reef", "sump", "temperature", limit_alarms=limits[:2], **common),
            SeriesRules("nursery", "temperature", "temperature", limit_alarms=limits[2:], **common),
        ),
    )


@st.composite
def streams(draw: st.DrawFn, most: int = 120, least: int = 1) -> Block:
    """Readings of the three series as a network delivers them: late, repeated, missing, with gaps.

    Each reading is a step of its series' own clock (sometimes back, sometimes a long gap) and a value
    that wanders, jumps, sticks, leaves the sensor's span or is missing.
    """
    steps = st.sampled_from([10, 20, 30, 60, 60, 60, 90, 120, 300, 900, 4000, 0, -30])
    moves = st.sampled_from(
        [0.0, 0.0, 0.0, 0.05, -0.05, 0.3, -0.3, 0.6, -0.6, 1.5, -1.5, 100.0, float("nan")]
    )
    drawn = draw(st.lists(st.tuples(st.integers(0, 2), steps, moves), min_size=least, max_size=most))
    now = [START_US + lag * MICROSECONDS for lag in draw(st.tuples(*[st.integers(-400, 400)] * 3))]
    value = [25.0, 25.0, 25.0]
    times, values, series = [], [], []
    for index, step, move in drawn:
        now[index] += step * MICROSECONDS
        if abs(move) <= 2:
            value[index] = min(30.0, max(20.0, value[index] + move))
        times.append(now[index])
        values.append(value[index] if abs(move) <= 2 else value[index] + move)
        series.append(index)
    return Block(np.array(times, np.int64), np.array(values), np.array(series, np.int64))


def cuts(most: int = 120) -> st.SearchStrategy[list[int]]:
    """Places at which a stream is cut into blocks."""
    return st.lists(st.integers(1, most), max_size=12).map(sorted)
