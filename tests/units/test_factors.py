"""Factors against pint and against definitions, and what importing them costs."""

from __future__ import annotations

import subprocess
import sys

import pint
import pytest

from collector.units.factors import identity, straight
from collector.units.spellings import SPELLINGS, Ratio

REGISTRY = pint.UnitRegistry()
# Names in pint of the units that our table converts by moving the decimal point.
IN_PINT = {
    "uS/cm": "microsiemens/centimeter",
    "µS/cm": "microsiemens/centimeter",
    "μS/cm": "microsiemens/centimeter",
    "S/m": "siemens/meter",
    "mS/m": "millisiemens/meter",
    "mL": "milliliter",
    "ml": "milliliter",
    "m3": "meter**3",
    "m³": "meter**3",
    "mm": "millimeter",
    "m": "meter",
    "kW": "kilowatt",
    "mW": "milliwatt",
    "V": "volt",
    "mL/h": "milliliter/hour",
    "ml/h": "milliliter/hour",
    "m3/h": "meter**3/hour",
    "m³/h": "meter**3/hour",
}
CANONICAL = {
    "conductivity": "millisiemens/centimeter",
    "specific_conductance": "millisiemens/centimeter",
    "volume": "liter",
    "water_level": "centimeter",
    "power": "watt",
    "redox_potential": "millivolt",
    "flow": "liter/hour",
}
RATIOS = [
    (quantity, spelling)
    for quantity, units in SPELLINGS.items()
    for spelling, unit in units.items()
    if isinstance(unit, Ratio) and quantity in CANONICAL
]


@pytest.mark.parametrize(("quantity", "spelling"), RATIOS)
def test_moved_decimal_point_agrees_with_pint(quantity: str, spelling: str) -> None:
    unit = SPELLINGS[quantity][spelling]
    line = straight(unit, quantity)
    assert line is not None
    assert line(7.0) == pytest.approx(
        REGISTRY.convert(7.0, IN_PINT[spelling], CANONICAL[quantity]), rel=1e-12
    )


# By definition; exact in binary too, so that what a person writes comes out as they would write it.
@pytest.mark.parametrize(
    ("spelling", "value", "celsius"),
    [
        ("degF", 32.0, 0.0),
        ("degF", 212.0, 100.0),
        ("degF", -40.0, -40.0),
        ("degF", 77.0, 25.0),
        ("degF", 98.6, 37.0),
        ("K", 273.15, 0.0),
        ("K", 0.0, -273.15),
    ],
)
def test_fixed_points_of_temperature(spelling: str, value: float, celsius: float) -> None:
    line = straight(SPELLINGS["temperature"][spelling], "temperature")
    assert line is not None
    assert line(value) == pytest.approx(celsius, abs=1e-12)


def test_round_fahrenheit_values_come_out_round() -> None:
    line = straight(SPELLINGS["temperature"]["degF"], "temperature")
    assert line is not None
    assert [line(value) for value in (32.0, 50.0, 77.0, 86.0)] == [0.0, 10.0, 25.0, 30.0]


def test_half_a_degree_fahrenheit_of_difference_is_not_eighteen_below_zero() -> None:
    line = straight(SPELLINGS["temperature"]["degF"], "temperature", difference=True)
    assert line is not None
    assert line(0.5) == pytest.approx(0.2778, abs=5e-5)


def test_kelvin_of_difference_is_the_canonical_unit() -> None:
    assert straight(SPELLINGS["temperature"]["K"], "temperature", difference=True) is identity


def test_neither_pint_nor_gsw_is_imported_for_canonical_units_and_moved_decimal_points() -> None:
    code = (
        "import sys\n"
        "from collector.units import converter, parse_quantity\n"
        "from collector.configuration import SeriesConfiguration as S\n"
        "converter('Cel', S('reef', 't', 'temperature'))(25.0)\n"
        "converter('uS/cm', S('reef', 'c', 'conductivity'))(53000.0)\n"
        "converter('m', S('reef', 'l', 'water_level'))(0.2)\n"
        "parse_quantity('25.4 degC', 'temperature')\n"
        "print(sorted({'pint', 'gsw'} & set(sys.modules)))\n"
        "converter('degF', S('reef', 't', 'temperature'))(77.0)\n"
        "print('pint' in sys.modules)\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.splitlines() == ["[]", "True"]
