"""The closed table of unit spellings: what each one means for each quantity.

Nothing outside this table is accepted, and no text ever reaches pint's own parser, which reads pH as
picohenry, ppt as picopint and C as coulomb. A spelling belongs to quantities: "mV" is a redox potential,
and for a pH it is what an electrode gives.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType

from rules import QUANTITIES


class Same:
    """The canonical unit itself."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """A unit of ours, exactly numerator/denominator canonical units; also for every power of ten.

    Moving the decimal point needs no library: pint takes 11 MB of a small machine's memory.
    """

    numerator: float
    denominator: float = 1.0


@dataclass(frozen=True, slots=True)
class PintUnit:
    """A unit that pint knows under this name; `difference` where differences have a name of their own."""

    name: str
    difference: str | None = None


class Own(Enum):
    """What only a function of ours can convert, and never a difference: the way is not a straight line."""

    ELECTRODE = "millivolts of a pH electrode"
    HEIGHT = "a height of a level table"
    COUNT = "raw counts of a level table"
    SPECIFIC_GRAVITY = "a specific gravity"
    MASS_CONCENTRATION = "a mass of salt per litre"


Unit = Same | Ratio | PintUnit | Own

SAME = Same()

# Names in pint of the canonical units that pint units are converted to: of values, of differences.
CANONICAL_IN_PINT = MappingProxyType(
    {
        "temperature": ("degree_Celsius", "delta_degree_Celsius"),
        "volume": ("liter", "liter"),
        "water_level": ("centimeter", "centimeter"),
        "flow": ("liter/hour", "liter/hour"),
    }
)

# g/mol: CaO and CaCO3 of the standard atomic weights of IUPAC (abridged, Ca 40.078, O 15.999, C 12.011).
# One mole of either neutralises two equivalents of acid.
_CAO = 40.078 + 15.999
_CACO3 = 40.078 + 12.011 + 3 * 15.999
# A German degree of carbonate hardness is 10 mg/L of CaO (DIN 38409, quoted from memory).
_DEGREE = Ratio(10.0 * 2, _CAO)
_MG_CACO3 = Ratio(2, _CACO3)

_CONDUCTIVITY: dict[str, Unit] = {
    "mS/cm": SAME,
    "dS/m": SAME,
    "uS/cm": Ratio(1, 1000),
    "µS/cm": Ratio(1, 1000),  # micro sign
    "μS/cm": Ratio(1, 1000),  # Greek mu, which many keyboards give
    "S/m": Ratio(10),
    "mS/m": Ratio(1, 100),
}
_LENGTH: dict[str, Unit] = {
    "cm": SAME,
    "mm": Ratio(1, 10),
    "m": Ratio(100),
    "in": PintUnit("inch"),
    "inch": PintUnit("inch"),
}

SPELLINGS: Mapping[str, Mapping[str, Unit]] = MappingProxyType(
    {
        "temperature": {
            "degC": SAME,
            "°C": SAME,
            "℃": SAME,
            "C": SAME,  # what boards send; no tank has a charge
            "Cel": SAME,  # SenML (RFC 8428)
            "celsius": SAME,
            "degF": PintUnit("degree_Fahrenheit", "delta_degree_Fahrenheit"),
            "°F": PintUnit("degree_Fahrenheit", "delta_degree_Fahrenheit"),
            "℉": PintUnit("degree_Fahrenheit", "delta_degree_Fahrenheit"),
            "F": PintUnit("degree_Fahrenheit", "delta_degree_Fahrenheit"),
            "fahrenheit": PintUnit("degree_Fahrenheit", "delta_degree_Fahrenheit"),
            "K": PintUnit("kelvin"),
        },
        "ph": {
            "pH": SAME,
            "ph": SAME,
            "": SAME,
            "mV": Own.ELECTRODE,
            "V": Own.ELECTRODE,
        },
        "practical_salinity": {
            "": SAME,
            "PSS-78": SAME,
            "practical_salinity": SAME,
            "practical salinity": SAME,
            "psu": SAME,
            "PSU": SAME,
            "g/kg": Ratio(35.0, 35.16504),  # reference composition (Millero et al. 2008)
            "g/L": Own.MASS_CONCENTRATION,
            "g/l": Own.MASS_CONCENTRATION,
            "sg": Own.SPECIFIC_GRAVITY,
            "SG": Own.SPECIFIC_GRAVITY,
            "specific_gravity": Own.SPECIFIC_GRAVITY,
        },
        "conductivity": _CONDUCTIVITY,
        "specific_conductance": dict(_CONDUCTIVITY),
        "volume": {
            "L": SAME,
            "l": SAME,
            "litre": SAME,
            "liter": SAME,
            "mL": Ratio(1, 1000),
            "ml": Ratio(1, 1000),
            "m3": Ratio(1000),
            "m³": Ratio(1000),
            "gal_us": PintUnit("gallon"),
            "gal_imp": PintUnit("imperial_gallon"),
            "cm": Own.HEIGHT,
            "mm": Own.HEIGHT,
            "m": Own.HEIGHT,
            "in": Own.HEIGHT,
            "inch": Own.HEIGHT,
            "count": Own.COUNT,  # SenML (RFC 8428)
            "#": Own.COUNT,  # the Homie convention
        },
        "water_level": _LENGTH,
        "power": {"W": SAME, "kW": Ratio(1000), "mW": Ratio(1, 1000)},
        "alkalinity": {
            "meq/L": SAME,
            "meq/l": SAME,
            "dKH": _DEGREE,
            "°dKH": _DEGREE,
            "mg/L CaCO3": _MG_CACO3,
            "mg/l CaCO3": _MG_CACO3,
            "ppm CaCO3": _MG_CACO3,
        },
        "redox_potential": {"mV": SAME, "V": Ratio(1000)},
        "dissolved_oxygen": {"mg/L": SAME, "mg/l": SAME, "g/m3": SAME},
        "flow": {
            "L/h": SAME,
            "l/h": SAME,
            "mL/h": Ratio(1, 1000),
            "ml/h": Ratio(1, 1000),
            "m3/h": Ratio(1000),
            "m³/h": Ratio(1000),
            "L/min": PintUnit("liter/minute"),
            "l/min": PintUnit("liter/minute"),
            "mL/min": PintUnit("milliliter/minute"),
            "ml/min": PintUnit("milliliter/minute"),
            "L/s": PintUnit("liter/second"),
            "l/s": PintUnit("liter/second"),
            "m3/s": PintUnit("meter**3/second"),
            "m³/s": PintUnit("meter**3/second"),
            "gal_us/h": PintUnit("gallon/hour"),
            "gal_us/min": PintUnit("gallon/minute"),
            "gal_imp/h": PintUnit("imperial_gallon/hour"),
        },
        "relative_humidity": {"%RH": SAME, "%": SAME},
        "contact": {"": SAME},
        "state": {"": SAME},
    }
)

_THREE_THINGS = 'it is said of three things: write practical salinity (no unit, or "PSS-78"), "g/kg" or "g/L"'
_WHICH_GALLON = 'there are two: write "gal_us" or "gal_imp"'
_RAW_CONDUCTIVITY = (
    "salinity needs the temperature beside the conductivity: declare a series of quantity conductivity for "
    "it, and a practical_salinity series with derived_from and temperature_from"
)
_CARBONATE = 'say of what: "dKH", "meq/L" or "mg/L CaCO3"'
_SATURATION = "saturation says nothing without temperature and salinity: let the probe send mg/L"

# Spellings that are refused on purpose: what to write instead.
REFUSED: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "temperature": {"deg": 'write "degC" or "degF"', "°": 'write "degC" or "degF"'},
        "practical_salinity": {
            **dict.fromkeys(("ppt", "PPT", "‰", "o/oo"), _THREE_THINGS),
            **dict.fromkeys(_CONDUCTIVITY, _RAW_CONDUCTIVITY),
        },
        "volume": dict.fromkeys(("gal", "gallon", "gallons"), _WHICH_GALLON),
        "flow": {
            **dict.fromkeys(("gal/h", "gal/min"), _WHICH_GALLON.replace('"gal_us" or', '"gal_us/h" or')),
            **dict.fromkeys(("gph", "GPH"), 'write "gal_us/h" or "gal_imp/h"'),
        },
        "alkalinity": dict.fromkeys(("ppm", "mg/L", "mg/l", "°KH", "KH"), _CARBONATE),
        "dissolved_oxygen": {"ppm": 'write "mg/L"', "%": _SATURATION},
    }
)


def unit_of(spelling: str, quantity: str) -> Unit | None:
    """What a spelling means for a quantity, None if it is not accepted."""
    return SPELLINGS[quantity].get(spelling)


def accepted(quantity: str) -> tuple[str, ...]:
    """Return all spellings that a quantity accepts, as a person may write them; "no unit" for none."""
    return tuple(spelling or "no unit" for spelling in SPELLINGS[quantity])


def why_not(spelling: str, quantity: str) -> str:
    """Say what is wrong with a spelling that is not accepted, and what would be right."""
    shown = f'unit "{spelling[:40]}"' if spelling else "no unit"
    title = quantity.replace("_", " ")
    reason = REFUSED.get(quantity, {}).get(spelling)
    if reason is not None:
        return f"{shown} is not accepted for {title}: {reason}"
    if not spelling:
        return f"{title} needs a unit: {', '.join(accepted(quantity))}"
    known = [one for one in SPELLINGS[quantity] if one]
    lower = {one.lower(): one for one in reversed(known)}
    near = difflib.get_close_matches(spelling[:40].lower(), list(lower), n=1)
    meant = f'did you mean "{lower[near[0]]}"? ' if near else ""
    elsewhere = [other for other in QUANTITIES if other != quantity and spelling in SPELLINGS[other]]
    belongs = f" (it belongs to {' or '.join(elsewhere)})" if elsewhere and not near else ""
    return f"{shown} is not one of {title}{belongs}: {meant}accepted are {', '.join(accepted(quantity))}"
