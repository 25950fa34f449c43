"""The quantities that a series can have, each with its one canonical unit.

Everything is stored and judged in that unit; other units end in `collector.units`.
"""

from __future__ import annotations

from types import MappingProxyType

# Quantity -> canonical unit as text. An empty text is a quantity without unit.
QUANTITIES = MappingProxyType(
    {
        "temperature": "degC",
        "ph": "pH",
        "practical_salinity": "",
        "conductivity": "mS/cm",
        "specific_conductance": "mS/cm",
        "volume": "L",
        "water_level": "cm",
        "power": "W",
        "alkalinity": "meq/L",
        "redox_potential": "mV",
        "dissolved_oxygen": "mg/L",
        "flow": "L/h",
        "relative_humidity": "%RH",
        "contact": "",
        "state": "",
    }
)

# Values of these are 0 or 1: a closed contact, equipment that is on.
TWO_STATE = frozenset({"contact", "state"})
