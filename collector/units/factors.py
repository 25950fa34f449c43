"""The numbers between units: straight lines, from pint where it knows the unit, from our table elsewhere.

pint is imported only when a unit of its own is met for the first time.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any, TypeAlias

from collector.units.spellings import CANONICAL_IN_PINT, Own, PintUnit, Ratio, Same, Unit

if TYPE_CHECKING:
    import pint

Conversion: TypeAlias = Callable[[float], float]


def identity(value: float) -> float:
    """Return a value as it is: the conversion of every canonical unit, to be recognised with `is`."""
    return value


def straight(unit: Unit, quantity: str, *, difference: bool = False) -> Conversion | None:
    """Return the straight line from a unit to the canonical one; None where the way is not straight.

    Parameters
    ----------
    unit
        Of the table of spellings.
    quantity
        Whose canonical unit is wanted.
    difference
        Whether differences are to be converted: 1 degF of difference is 5/9 degC.
    """
    match unit:
        case Same():
            return identity
        case Ratio(numerator, denominator):
            return _line(0.0, numerator, denominator)
        case PintUnit(name, own_difference):
            canonical = CANONICAL_IN_PINT[quantity][difference]
            return _line(*_of_pint((difference and own_difference) or name, canonical))
        case Own():
            return None


def _line(zero: float, numerator: float, denominator: float) -> Conversion:
    # Multiplying before dividing keeps what people write: 77 degF are 25 degC, not 25.000000000000004.
    if zero == 0.0 and numerator == 1.0 == denominator:
        return identity
    if zero == 0.0 and denominator == 1.0:
        return lambda value: value * numerator
    if zero == 0.0 and numerator == 1.0:
        return lambda value: value / denominator
    if zero == 0.0:
        return lambda value: value * numerator / denominator
    return lambda value: (value - zero) * numerator / denominator


@cache
def _of_pint(name: str, canonical: str) -> tuple[float, float, float]:
    """Where the canonical unit is zero, and numerator and denominator of the exact slope."""
    registry = _registry()
    at_zero = Fraction(registry.convert(Fraction(0), name, canonical))
    slope = Fraction(registry.convert(Fraction(1), name, canonical)) - at_zero
    return float(-at_zero / slope), float(slope.numerator), float(slope.denominator)


@cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)
