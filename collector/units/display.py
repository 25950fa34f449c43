"""Canonical values as people read them: "24.1 °C", "8.12", "12.3 L", "closed"."""

from __future__ import annotations

import math
from types import MappingProxyType

# Decimals that mean something for a person, a little finer than the usual probe repeats; and the unit.
_SHOWN = MappingProxyType(
    {
        "temperature": (1, "°C"),
        "ph": (2, ""),
        "practical_salinity": (1, ""),
        "conductivity": (1, "mS/cm"),
        "specific_conductance": (1, "mS/cm"),
        "volume": (1, "L"),
        "water_level": (1, "cm"),
        "power": (0, "W"),
        "alkalinity": (2, "meq/L"),
        "redox_potential": (0, "mV"),
        "dissolved_oxygen": (1, "mg/L"),
        "flow": (0, "L/h"),
        "relative_humidity": (0, "%"),
    }
)
_STATES = MappingProxyType({"contact": ("open", "closed"), "state": ("off", "on")})
NO_VALUE = "no value"


def display(value: float, quantity: str) -> str:
    """Return a canonical value with the decimals and the unit that a person expects.

    A value that is not finite is "no value".
    """
    if not math.isfinite(value):
        return NO_VALUE
    states = _STATES.get(quantity)
    if states is not None:
        return states[value >= 0.5]
    decimals, unit = _SHOWN[quantity]
    return f"{value:z.{decimals}f} {unit}".rstrip()


def display_difference(value: float, quantity: str) -> str:
    """Return a difference of two values, or a change per hour to which the caller adds "/h".

    Small differences get two significant digits, so that a deadband of 0.15 °C is not shown as 0.1; zeros
    at the end are left away. A minus sign is shown, a plus sign is not.
    """
    if not math.isfinite(value):
        return NO_VALUE
    decimals, unit = _SHOWN.get(quantity, (0, ""))
    if value != 0.0:
        decimals = min(max(decimals, 1 - math.floor(math.log10(abs(value)))), decimals + 3)
    number = f"{value:z.{decimals}f}"
    if "." in number:
        number = number.rstrip("0").rstrip(".")
    return f"{number} {unit}".rstrip()


def resolution(quantity: str) -> float:
    """One unit of the last decimal that `display` shows, in the canonical unit."""
    decimals, _ = _SHOWN.get(quantity, (0, ""))
    return float(10.0**-decimals)
