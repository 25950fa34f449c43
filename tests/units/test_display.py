"""Values as a half-asleep person reads them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.units import display, display_difference
from rules import QUANTITIES


@pytest.mark.parametrize(
    ("value", "quantity", "expected"),
    [
        (24.123, "temperature", "24.1 °C"),
        (-0.04, "temperature", "0.0 °C"),
        (-0.06, "temperature", "-0.1 °C"),
        (8.1234, "ph", "8.12"),
        (34.94, "practical_salinity", "34.9"),
        (53.07, "conductivity", "53.1 mS/cm"),
        (53.07, "specific_conductance", "53.1 mS/cm"),
        (12.34, "volume", "12.3 L"),
        (22.08, "water_level", "22.1 cm"),
        (299.6, "power", "300 W"),
        (2.931, "alkalinity", "2.93 meq/L"),
        (349.6, "redox_potential", "350 mV"),
        (6.84, "dissolved_oxygen", "6.8 mg/L"),
        (1199.7, "flow", "1200 L/h"),
        (55.2, "relative_humidity", "55 %"),
        (0.0, "contact", "open"),
        (1.0, "contact", "closed"),
        (0.0, "state", "off"),
        (1.0, "state", "on"),
        (math.nan, "temperature", "no value"),
        (math.inf, "ph", "no value"),
    ],
)
def test_value(value: float, quantity: str, expected: str) -> None:
    assert display(value, quantity) == expected


def test_every_quantity_can_be_shown() -> None:
    for quantity in QUANTITIES:
        assert display(1.0, quantity)
        assert display_difference(1.0, quantity)


@pytest.mark.parametrize(
    ("value", "quantity", "expected"),
    [
        (-0.3, "temperature", "-0.3 °C"),
        (0.15, "temperature", "0.15 °C"),
        (5 / 18, "temperature", "0.28 °C"),
        (1.26, "temperature", "1.3 °C"),
        (12.0, "temperature", "12 °C"),
        (0.0, "temperature", "0 °C"),
        (0.00001, "temperature", "0 °C"),
        (-0.00001, "temperature", "0 °C"),
        (0.05, "ph", "0.05"),
        (-0.338, "practical_salinity", "-0.34"),
        (0.5, "flow", "0.5 L/h"),
        (100.0, "flow", "100 L/h"),
        (math.nan, "volume", "no value"),
    ],
)
def test_difference(value: float, quantity: str, expected: str) -> None:
    assert display_difference(value, quantity) == expected


@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from(sorted(QUANTITIES)))
def test_anything_can_be_shown_and_nothing_is_minus_zero(value: float, quantity: str) -> None:
    for text in (display(value, quantity), display_difference(value, quantity)):
        number = text.partition(" ")[0]
        assert not (number.startswith("-") and set(number) <= set("-0."))
        assert "nan" not in text
        assert "inf" not in text
