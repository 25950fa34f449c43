"""Practical salinity from specific gravity at stated temperatures, and from grams of salt per litre."""

from __future__ import annotations

import re
from typing import NamedTuple

from collector.configuration import SeriesConfiguration
from collector.errors import ConfigError, PayloadError
from collector.units.factors import Conversion, straight
from collector.units.spellings import unit_of
from rules import physics

# Grams per litre are taken at this temperature. At 20 or 30 degC the same water holds 0.1 to 0.2 % more or
# less of them, 0.05 in salinity: below what hobby instruments resolve.
GRAMS_PER_LITRE_CELSIUS = 25.0

_PAIR = re.compile(r"\s*(\d+(?:\.\d+)?)\s*/\s*(\d+(?:\.\d+)?)\s*(\S+)\s*")
# Hydrometers are made for rooms; a pair outside this is a slip of the unit, such as "60/60 degC".
_REFERENCE_CELSIUS = (0.0, 40.0)


class ReferencePair(NamedTuple):
    """Temperatures in degC that a specific gravity refers to: that of the sample, that of pure water."""

    sample: float
    water: float


def parse_reference(text: str) -> ReferencePair:
    """Read a pair of reference temperatures such as "20/20 degC", "60/60 degF" or "25/4 degC".

    Raises
    ------
    ConfigError
        If it is no such pair, or outside 0 to 40 degC.
    """
    found = _PAIR.fullmatch(text)
    unit = unit_of(found[3], "temperature") if found else None
    to_celsius = None if unit is None else straight(unit, "temperature")
    if found is None or to_celsius is None:
        raise ConfigError(
            f'reference "{text}" is no pair of temperatures sample/water: write "20/20 degC", "60/60 degF" '
            'or "25/4 degC", as printed on the instrument'
        )
    pair = ReferencePair(to_celsius(float(found[1])), to_celsius(float(found[2])))
    low, high = _REFERENCE_CELSIUS
    if not all(low <= one <= high for one in pair):
        raise ConfigError(f'reference "{text}" is outside {low:g} to {high:g} degC: is its unit right?')
    return pair


def specific_gravity_conversion(series: SeriesConfiguration) -> Conversion:
    """Return what makes practical salinity of a specific gravity, read with the sample at its reference.

    Raises
    ------
    ConfigError
        If the series has no reference: the same number means salinities one apart with another pair.
    """
    if series.reference is None:
        raise ConfigError(
            'a specific gravity needs "reference", the temperatures printed on the instrument: '
            '"20/20 degC", "60/60 degF", "25/25 degC", "25/4 degC"'
        )
    pair = parse_reference(series.reference)

    def convert(gravity: float) -> float:
        try:
            return physics.salinity_of_specific_gravity(gravity, *pair)
        except ValueError as error:
            raise PayloadError(f"{error} at {series.reference}") from error

    return convert


def mass_concentration_conversion(grams_per_litre: float) -> float:
    """Practical salinity of grams of salt per litre at 25 degC.

    Raises
    ------
    PayloadError
        If no seawater has so much.
    """
    try:
        return physics.salinity_of_mass_concentration(grams_per_litre, GRAMS_PER_LITRE_CELSIUS)
    except ValueError as error:
        raise PayloadError(str(error)) from error
