"""In which units people read values: a choice for each quantity, the same on pages and in messages.

Stored, computed and published is the canonical unit alone. The numbers between the two are written out,
for the library that knows them takes 11 MB of a small machine's memory; tests hold them to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Shown:
    """How a quantity is shown: decimals that mean something, the unit, and the way to it.

    A value is `factor * canonical + zero`, and a difference `factor * canonical`.
    """

    decimals: int
    unit: str
    factor: float = 1.0
    zero: float = 0.0

    def of(self, canonical: float) -> float:
        """A canonical value in the unit shown."""
        return self.factor * canonical + self.zero

    def back(self, shown: float) -> float:
        """A value in the unit shown as a canonical one."""
        return (shown - self.zero) / self.factor

    @property
    def resolution(self) -> float:
        """One unit of the last decimal, in the canonical unit."""
        return float(10.0**-self.decimals) / self.factor


# A little finer than the usual probe repeats.
_CANONICAL: Mapping[str, Shown] = MappingProxyType(
    {
        "temperature": Shown(1, "°C"),
        "ph": Shown(2, ""),
        "practical_salinity": Shown(1, ""),
        "conductivity": Shown(1, "mS/cm"),
        "specific_conductance": Shown(1, "mS/cm"),
        "volume": Shown(1, "L"),
        "water_level": Shown(1, "cm"),
        "power": Shown(0, "W"),
        "alkalinity": Shown(2, "meq/L"),
        "redox_potential": Shown(0, "mV"),
        "dissolved_oxygen": Shown(1, "mg/L"),
        "flow": Shown(0, "L/h"),
        "relative_humidity": Shown(0, "%"),
    }
)
_PLAIN = Shown(0, "")

# Litres of a gallon and centimetres of an inch are exact by definition; the masses of CaO and CaCO3 are those
# of `collector.units.spellings`.
_GALLON_US, _GALLON_IMPERIAL, _INCH = 3.785411784, 4.54609, 2.54
_CAO, _CACO3 = 40.078 + 15.999, 40.078 + 12.011 + 3 * 15.999

# What may be chosen: quantity -> the unit as the configuration writes it. The first is the canonical one.
CHOICES: Mapping[str, Mapping[str, Shown]] = MappingProxyType(
    {
        "temperature": {"degC": _CANONICAL["temperature"], "degF": Shown(1, "°F", 9 / 5, 32.0)},
        "volume": {
            "L": _CANONICAL["volume"],
            "gal_us": Shown(1, "gal", 1 / _GALLON_US),
            "gal_imp": Shown(1, "gal imp.", 1 / _GALLON_IMPERIAL),
        },
        "water_level": {
            "cm": _CANONICAL["water_level"],
            "mm": Shown(0, "mm", 10.0),
            "in": Shown(1, "in", 1 / _INCH),
        },
        "alkalinity": {
            "meq/L": _CANONICAL["alkalinity"],
            "dKH": Shown(1, "dKH", _CAO / 20),
            "mg/L CaCO3": Shown(0, "mg/L CaCO3", _CACO3 / 2),
        },
        "flow": {
            "L/h": _CANONICAL["flow"],
            "gal_us/h": Shown(0, "gal/h", 1 / _GALLON_US),
            "gal_imp/h": Shown(0, "gal imp./h", 1 / _GALLON_IMPERIAL),
        },
    }
)


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """The choice: quantity -> one of `CHOICES`; what is not named is shown in its canonical unit."""

    chosen: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def of(self, quantity: str) -> Shown:
        """How a quantity is shown; plain whole numbers for one of two states."""
        choice = self.chosen.get(quantity)
        return _CANONICAL.get(quantity, _PLAIN) if choice is None else CHOICES[quantity][choice]


CANONICAL = DisplayUnits()
