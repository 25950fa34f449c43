"""The physics of a reef tank: seawater, pH electrode, heat balance, water and salt balance.

Pure functions of numbers. `gsw` (TEOS-10 and PSS-78) is imported when it is first needed, so that a tank
without salinity or heat to compute does not pay for it.
"""

from rules.physics.carbonate import carbon_of, ph_of
from rules.physics.evaporation import (
    fresh_litres_per_hour,
    greatest_salinity_rise_per_hour,
    level_fall_per_hour,
    salinity_rise_per_hour,
)
from rules.physics.heat import HeatBalance, evaporation_watts, heat_capacity, usual_time_constant_hours
from rules.physics.limewater import alkalinity_after, alkalinity_rise, ph_after
from rules.physics.nernst import Electrode, nernst_slope, ph_at_temperature
from rules.physics.seawater import (
    REFERENCE_SALINITY_RATIO,
    conductivity,
    density,
    practical_salinity,
    salinity_of_mass_concentration,
    salinity_of_specific_gravity,
    specific_gravity,
)
from rules.physics.water import (
    FRESH_WATER_KG_PER_LITRE,
    SEAWATER_KG_PER_LITRE,
    fresh_litres_added,
    level_change_cm,
    salinity_after,
)

__all__ = [
    "FRESH_WATER_KG_PER_LITRE",
    "REFERENCE_SALINITY_RATIO",
    "SEAWATER_KG_PER_LITRE",
    "Electrode",
    "HeatBalance",
    "alkalinity_after",
    "alkalinity_rise",
    "carbon_of",
    "conductivity",
    "density",
    "evaporation_watts",
    "fresh_litres_added",
    "fresh_litres_per_hour",
    "greatest_salinity_rise_per_hour",
    "heat_capacity",
    "level_change_cm",
    "level_fall_per_hour",
    "nernst_slope",
    "ph_after",
    "ph_at_temperature",
    "ph_of",
    "practical_salinity",
    "salinity_after",
    "salinity_of_mass_concentration",
    "salinity_of_specific_gravity",
    "salinity_rise_per_hour",
    "specific_gravity",
    "usual_time_constant_hours",
]
