"""What is told with every alarm of the water: what is usual, how fast it changes, when danger is reached."""

from __future__ import annotations

from dataclasses import replace

from rules.events import Evidence
from rules.look import Look
from rules.projection import Projection, project

_TREND_MINUTES = 60


def with_trend_of(evidence: Evidence, at_us: int, look: Look, projection: Projection | None) -> Evidence:
    """Add what is usual, the slope, and when a danger line is reached."""
    slope = look.slope(_TREND_MINUTES)
    value = evidence.value
    if projection is None and value is not None:
        low, high = (look.series.danger_line(is_high=is_high) for is_high in (False, True))
        projection = project(at_us, value, slope, low, high)
    band = look.band
    return replace(
        evidence,
        expected_low=None if band is None else finite(band.low),
        expected_high=None if band is None else finite(band.high),
        rate_per_hour=finite(slope.median),
        danger=None if projection is None else projection.danger,
        danger_at_us=None if projection is None else projection.at_us,
        danger_earliest_us=None if projection is None else projection.earliest_us,
        danger_latest_us=None if projection is None else projection.latest_us,
    )


def finite(value: float) -> float | None:
    """The value, None where it is NaN or infinite."""
    return value if value - value == 0.0 else None
