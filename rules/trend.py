"""What is told with every alarm of the water: what is usual, how fast it changes, when danger is reached."""

from __future__ import annotations

from dataclasses import replace

from rules.events import Evidence
from rules.local_time import hour_of_day
from rules.look import Look, TankLook
from rules.physics.heat import usual_time_constant_hours
from rules.projection import Projection, project, project_heat

_TREND_MINUTES = 60
# What fails is told within the hour: a slope over all of it is half of the time before, and tells a rise of
# half the speed. Of six ways tried on computed tanks this held best (tests/bench/README.md).
_WATER_MINUTES = 40
_WATER = frozenset({"temperature", "temperature_2"})


def with_trend_of(
    evidence: Evidence, at_us: int, look: Look, projection: Projection | None, tank: TankLook | None
) -> Evidence:
    """Add what is usual, the slope, and when a danger line is reached in this tank."""
    slope = look.slope(_TREND_MINUTES)
    value = evidence.value
    if projection is None and value is not None:
        projection = projection_of(look, tank, at_us, value)
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


def kept_for_trend(look: Look) -> Look:
    """A look that can be kept, of whose past nothing but what is told with an alarm can be asked."""
    for minutes in (_TREND_MINUTES, _WATER_MINUTES):
        look.slope(minutes)
    # Asked for, so that it stays.
    _ = look.band
    return look.without_past()


def projection_of(look: Look, tank: TankLook | None, at_us: int, value: float) -> Projection | None:
    """When a series reaches its danger line from a value at an instant; None for never, or not known.

    Water relaxes as its tank does, where that is known by its history or its volume; a straight line would
    tell of lines that it never reaches. Everything else goes on as it goes.
    """
    low, high = (look.series.danger_line(is_high=is_high) for is_high in (False, True))
    known = None if tank is None or tank.role_of(look.name) not in _WATER else relaxing(tank)
    if tank is None or known is None:
        return project(at_us, value, look.slope(_TREND_MINUTES), low, high)
    hours, day = known
    minutes = _WATER_MINUTES if look.slope(_WATER_MINUTES).is_known else _TREND_MINUTES
    return project_heat(
        at_us,
        value,
        look.slope(minutes).median,
        hours,
        low,
        high,
        day=day,
        hour=hour_of_day(at_us, tank.rules.time_zone),
        slope_hours=minutes / 60,
    )


def relaxing(tank: TankLook) -> tuple[float, tuple[float, ...]] | None:
    """Time constant of a tank's water, h, and what its day adds at each hour; None where neither is known."""
    heat, litres = tank.heat, tank.rules.volume_litres
    if heat is not None and heat.time_constant_hours is not None:
        return heat.time_constant_hours, heat.day
    return None if litres is None else (usual_time_constant_hours(litres), ())


def finite(value: float) -> float | None:
    """The value, None where it is NaN or infinite."""
    return value if value - value == 0.0 else None
