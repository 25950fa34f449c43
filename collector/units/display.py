"""Canonical values as people read them, in the units of their choice: "24.1 °C", "8.12", "closed"."""

from __future__ import annotations

import math
from types import MappingProxyType

from collector.display_units import CANONICAL, DisplayUnits

_STATES = MappingProxyType({"contact": ("open", "closed"), "state": ("off", "on")})
NO_VALUE = "no value"


def display(value: float, quantity: str, units: DisplayUnits = CANONICAL) -> str:
    """Return a canonical value with the decimals and the unit that a person expects.

    A value that is not finite is "no value".
    """
    if not math.isfinite(value):
        return NO_VALUE
    states = _STATES.get(quantity)
    if states is not None:
        return states[value >= 0.5]
    shown = units.of(quantity)
    return f"{shown.of(value):z.{shown.decimals}f} {shown.unit}".rstrip()


def display_difference(value: float, quantity: str, units: DisplayUnits = CANONICAL) -> str:
    """Return a difference of two values, or a change per hour to which the caller adds "/h".

    Small differences get two significant digits, so that a deadband of 0.15 °C is not shown as 0.1; zeros
    at the end are left away. A minus sign is shown, a plus sign is not.
    """
    if not math.isfinite(value):
        return NO_VALUE
    shown = units.of(quantity)
    value, decimals, unit = shown.factor * value, shown.decimals, shown.unit
    if value != 0.0:
        decimals = min(max(decimals, 1 - math.floor(math.log10(abs(value)))), decimals + 3)
    number = f"{value:z.{decimals}f}"
    if "." in number:
        number = number.rstrip("0").rstrip(".")
    return f"{number} {unit}".rstrip()


def resolution(quantity: str, units: DisplayUnits = CANONICAL) -> float:
    """One unit of the last decimal that `display` shows, in the canonical unit."""
    return units.of(quantity).resolution
