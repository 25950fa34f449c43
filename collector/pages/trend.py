"""Where a series has been going over the last hour: a robust slope, in words and as a number.

For the eye only: alarms and projections come from the engine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from collector.pages.labels import SeriesLabel
from collector.pages.record import Buckets, Record
from rules import HOUR_US, TWO_STATE

# Five-minute means: enough to be robust, few enough that all pairs are cheap.
_BUCKETS = 12
# A slope over less than half of the hour says more about noise than about the tank.
_LEAST_SPAN_US = HOUR_US // 2
# What switches has no slope: a heater's power is on or off.
_WITHOUT_TREND = TWO_STATE | {"power"}


@dataclass(frozen=True, slots=True)
class Trend:
    """`word` is rising, falling or steady, "" where there is no trend; `per_hour` in canonical unit."""

    word: str
    per_hour: float | None
    text: str


NO_TREND = Trend("", None, "no trend")


def trend_over_last_hour(record: Record, series: int, label: SeriesLabel, now_us: int) -> Trend:
    """The trend of a series over the hour that ends now."""
    if label.quantity is None or label.quantity in _WITHOUT_TREND:
        return NO_TREND
    slope = robust_slope(record.buckets(series, now_us - HOUR_US, now_us + 1, _BUCKETS))
    return NO_TREND if slope is None else in_words(slope, label)


def robust_slope(buckets: Buckets) -> float | None:
    """Median of the slopes of all pairs of bucket means, per hour; None for less than half an hour.

    References
    ----------
    Theil 1950, Sen 1968: the slope that outliers in fewer than 29 % of the points do not move.
    """
    filled = buckets.counts > 0
    times_us, means = buckets.starts_us[filled], buckets.mean[filled]
    if len(times_us) < 3 or int(times_us[-1] - times_us[0]) < _LEAST_SPAN_US:
        return None
    first, second = np.triu_indices(len(times_us), 1)
    with np.errstate(over="ignore", invalid="ignore"):  # values near the ends of the float range
        hours = (times_us[second] - times_us[first]) / HOUR_US
        slope = float(np.median((means[second] - means[first]) / hours))
    return slope if np.isfinite(slope) else None


def in_words(per_hour: float, label: SeriesLabel) -> Trend:
    """Steady is what would not move the last digit shown within the hour."""
    if abs(per_hour) < label.resolution / 2:
        return Trend("steady", per_hour, f"steady, under {label.show_rate(label.resolution / 2)}")
    word = "rising" if per_hour > 0 else "falling"
    return Trend(word, per_hour, f"{word} {label.show_rate(abs(per_hour))}")
