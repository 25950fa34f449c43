"""Litres from a height or a raw count, through the table of a vessel's shape."""

from __future__ import annotations

import numpy as np

from collector.configuration import LevelTable, SeriesConfiguration
from collector.errors import ConfigError, PayloadError
from collector.units.factors import Conversion, straight
from collector.units.spellings import SPELLINGS, Own, unit_of, why_not
from rules import FloatArray


def level_conversion(spelling: str, series: SeriesConfiguration) -> Conversion:
    """Return what makes litres of heights; a height beyond the table is refused, not guessed.

    Raises
    ------
    ConfigError
        If the series has no level table, its unit is no length and no count, or the arriving unit is
        another kind of thing than the table's.
    """
    table = series.level_table
    if table is None:
        raise ConfigError(f'{spelling} of a volume needs "level_table": heights and the litres they mean')
    kind = unit_of(table.unit, "volume")
    if kind not in (Own.HEIGHT, Own.COUNT):
        raise ConfigError(f'level_table.unit "{table.unit}" is no height: {", ".join(_table_units())}')
    if unit_of(spelling, "volume") is not kind:
        raise ConfigError(f'values in "{spelling}" do not fit a level table in "{table.unit}"')
    if kind is Own.COUNT:
        return _through(table, np.array(table.heights), lambda count: count)
    to_cm = _centimetres(table.unit)
    return _through(table, np.array([to_cm(height) for height in table.heights]), _centimetres(spelling))


def _centimetres(spelling: str) -> Conversion:
    unit = unit_of(spelling, "water_level")
    line = None if unit is None else straight(unit, "water_level")
    if line is None:
        raise ConfigError(why_not(spelling, "water_level"))
    return line


def _through(table: LevelTable, heights: FloatArray, to_table: Conversion) -> Conversion:
    litres = np.array(table.litres)
    # Rounding of a conversion must not put the table's own last row outside it.
    lowest, highest = heights[0] - 1e-9, heights[-1] + 1e-9

    def convert(value: float) -> float:
        height = to_table(value)
        if height < lowest or height > highest:
            raise PayloadError(
                f"height {value:g} is outside the level table, {table.heights[0]:g} to "
                f"{table.heights[-1]:g} {table.unit}: add rows that reach so far"
            )
        return float(np.interp(height, heights, litres))

    return convert


def _table_units() -> list[str]:
    return [one for one, unit in SPELLINGS["volume"].items() if unit in (Own.HEIGHT, Own.COUNT)]
