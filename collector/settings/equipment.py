"""Words for what hangs on a tank: a fault is looked for only where there is equipment that can have it."""

from __future__ import annotations

from types import MappingProxyType

# Some words are understood by no fault yet: said today, they are by later ones.
EQUIPMENT = MappingProxyType(
    {
        "heater": "one heater or more, with a thermostat",
        "chiller": "a cooler with a thermostat",
        "fan": "fans that cool by evaporation",
        "top_off": "replaces evaporated water, with or without limewater",
        "limewater_stirrer": "makes the limewater of the top-off",
        "calcium_reactor": "dissolves its medium with CO2",
        "return_pump": "from the sump to the display",
        "circulation_pump": "moves the water of the display",
        "lights": "above the display",
    }
)
