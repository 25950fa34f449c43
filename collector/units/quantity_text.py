"""Values as people write them in a configuration: "25.4 degC", "0.5 degF" of difference, "0.6 degC/h"."""

from __future__ import annotations

import re

from collector.errors import ConfigError, PayloadError
from collector.units.duration_text import parse_duration
from collector.units.factors import straight
from collector.units.salinity import mass_concentration_conversion
from collector.units.spellings import Own, unit_of, why_not
from rules import HOUR_US, QUANTITIES

_VALUE = re.compile(r"\s*(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>.*?)\s*")
_COMMA = re.compile(r"\s*[+-]?\d+,\d+")


def parse_quantity(text: str, quantity: str, *, difference: bool = False) -> float:
    """Read a value with its unit; return it in the canonical unit of the quantity.

    Parameters
    ----------
    text
        Such as "25.4 degC", "20 L", "8.2 pH" or "8.2", "35" for a practical salinity.
    quantity
        A name of `rules.QUANTITIES`.
    difference
        Whether the text is a difference of two values (a deadband, a spread): "0.5 degF" is 0.278 degC.

    Raises
    ------
    ConfigError
        If the text is no number with an accepted unit; it says which units are.
    """
    found = None if _COMMA.match(text) else _VALUE.fullmatch(text)
    if found is None:
        raise ConfigError(
            f'"{text}" does not begin with a number with a decimal point: write it like {_example(quantity)}'
        )
    value, spelling = float(found["number"]), found["unit"]
    if value - value != 0.0:
        raise ConfigError(f'"{text}" is too large to be a {_title(quantity)}')
    unit = unit_of(spelling, quantity)
    if unit is None:
        raise ConfigError(f'"{text}": {_why_no_value(spelling, quantity)}')
    line = straight(unit, quantity, difference=difference)
    if line is not None:
        return line(value)
    own = unit.value if isinstance(unit, Own) else spelling
    if difference:
        raise ConfigError(
            f'"{text}": equal steps of {own} are no equal steps of {_title(quantity)}: '
            f"write the difference like {_example(quantity)}"
        )
    if unit is Own.MASS_CONCENTRATION:
        try:
            return mass_concentration_conversion(value)
        except PayloadError as error:
            raise ConfigError(f'"{text}": {error}') from error
    raise ConfigError(
        f'"{text}": {own} can arrive from a board, but a limit is written like {_example(quantity)}'
    )


def parse_rate(text: str, quantity: str) -> float:
    """Read a change per time such as "0.6 degC/h" or "30 degF/h"; return canonical units per hour.

    Raises
    ------
    ConfigError
        If it is not a difference, a slash and a unit of time.
    """
    change, slash, per = text.rpartition("/")
    if not slash:
        raise ConfigError(f'"{text}" is no change per time: write it like "{_example(quantity)[1:-1]}/h"')
    return parse_quantity(change, quantity, difference=True) * HOUR_US / parse_duration(f"1 {per.strip()}")


def _why_no_value(spelling: str, quantity: str) -> str:
    value, slash, per = spelling.rpartition("/")
    if slash and per in ("h", "min", "s", "day", "d") and unit_of(value, quantity) is not None:
        wanted = f"a {_title(quantity)} is needed: write it like {_example(quantity)}"
        return f"a rate of change stands where {wanted}"
    return why_not(spelling, quantity)


def _example(quantity: str) -> str:
    number = {"temperature": "25.4", "ph": "8.2", "practical_salinity": "35"}.get(quantity, "20")
    return f'"{number} {QUANTITIES[quantity]}'.rstrip() + '"'


def _title(quantity: str) -> str:
    return quantity.replace("_", " ")
