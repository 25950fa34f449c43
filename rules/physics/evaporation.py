"""Evaporation: how fast can it raise salinity and lower a level, and what is more than that?

Evaporation takes water and leaves the salt, so it is the only way in which salinity rises by itself, and
the slowest in which a level falls: what is faster is a leak, a hand, or the probe.
"""

from __future__ import annotations

from rules.physics.water import (
    FRESH_WATER_KG_PER_LITRE,
    SEAWATER_KG_PER_LITRE,
    level_change_cm,
    salinity_after,
)

# Share of the volume that evaporates in a day: 0.5 to 2 %, more under fans (common practice, no source).
USUAL_SHARES = (0.005, 0.02)
# What a fan over the whole surface makes of it: an ASHRAE estimate gives 8.3 L/day for 0.72 m2 at 1 m/s,
# 2 % of 400 L; twice that is beyond any tank.
GREATEST_SHARE = 0.04


def salinity_rise_per_hour(volume_litres: float, litres_per_day: float, salinity: float = 35.0) -> float:
    """How fast salinity rises by evaporation that nothing replaces, per hour, at its beginning."""
    return salinity_after(volume_litres, salinity, -litres_per_day / 24.0) - salinity


def greatest_salinity_rise_per_hour(salinity: float = 35.0) -> float:
    """Faster than this, per hour, salinity cannot rise by itself."""
    return salinity_rise_per_hour(1.0, GREATEST_SHARE, salinity)


def level_fall_per_hour(litres_per_day: float, area_m2: float) -> float:
    """How fast a level falls by evaporation that nothing replaces, cm/h, in a vessel of this free area."""
    return -level_change_cm(-litres_per_day / 24.0, area_m2)


def fresh_litres_per_hour(volume_litres: float, salinity: float, per_hour: float) -> float:
    """Fresh water in L/h that explains a slope of salinity per hour; below 0 it evaporates."""
    mass = volume_litres * SEAWATER_KG_PER_LITRE
    return -per_hour / salinity * mass / FRESH_WATER_KG_PER_LITRE
