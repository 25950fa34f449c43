"""From a value as it arrives to one in the canonical unit of its series.

What needs a second series (salinity from conductivity and temperature, the temperature of an electrode)
is left to `collector.derivation`.
"""

from __future__ import annotations

from collector.configuration import SeriesConfiguration
from collector.errors import ConfigError, PayloadError
from collector.units.factors import Conversion, straight
from collector.units.level import level_conversion
from collector.units.ph import electrode_conversion
from collector.units.salinity import mass_concentration_conversion, specific_gravity_conversion
from collector.units.spellings import Own, unit_of, why_not
from rules import QUANTITIES


def converter(spelling: str | None, series: SeriesConfiguration) -> Conversion:
    """Return what makes an arriving value canonical; `identity` where it is canonical already.

    Parameters
    ----------
    spelling
        Unit that came with the value or stands in the configuration; None or "" is that of the series,
        else of its level table, else the canonical one.
    series
        The series that the value belongs to.

    Returns
    -------
    Callable
        Takes and returns a float; NaN stays NaN. It raises PayloadError for a value that cannot be
        converted: a height beyond the level table, a specific gravity that no seawater has.

    Raises
    ------
    PayloadError
        If the spelling is not accepted for the quantity.
    ConfigError
        If the series lacks what the unit needs: calibration, level table, reference.
    """
    quantity = series.quantity
    spelling = spelling or series.unit or (series.level_table.unit if series.level_table else "")
    if not spelling:
        spelling = QUANTITIES[quantity]
    unit = unit_of(spelling, quantity)
    if unit is None:
        raise PayloadError(why_not(spelling, quantity))
    if is_compensated(series) and unit is not Own.ELECTRODE:
        raise PayloadError(
            f"{series.name} is compensated for the temperature of {series.temperature_from}, so millivolts "
            f'of its electrode must arrive, not "{spelling}": set unit = "mV", or take temperature_from out'
        )
    match unit:
        case Own.ELECTRODE:
            return electrode_conversion(spelling, series)
        case Own.HEIGHT | Own.COUNT:
            return level_conversion(spelling, series)
        case Own.SPECIFIC_GRAVITY:
            return specific_gravity_conversion(series)
        case Own.MASS_CONCENTRATION:
            return mass_concentration_conversion
    line = straight(unit, quantity)
    if line is None:
        raise ConfigError(f'"{spelling}" has no conversion to {quantity}')
    return line


def is_compensated(series: SeriesConfiguration) -> bool:
    """Whether the values of a series are corrected for the temperature that another series measures."""
    return series.temperature_from is not None and series.derived_from is None
