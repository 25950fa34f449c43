"""Values in a configuration: what they mean, and what is said of those that mean nothing."""

from __future__ import annotations

import math
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import ConfigError
from collector.units import parse_quantity, parse_rate
from rules import QUANTITIES


@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ("25.4 degC", "temperature", 25.4),
        ("25.4degC", "temperature", 25.4),
        ("  25.4   °C ", "temperature", 25.4),
        ("-1.5 degC", "temperature", -1.5),
        ("+77 degF", "temperature", 25.0),
        (".5 degC", "temperature", 0.5),
        ("25. degC", "temperature", 25.0),
        ("1e2 W", "power", 100.0),
        ("8.2 pH", "ph", 8.2),
        ("8.2", "ph", 8.2),
        ("35", "practical_salinity", 35.0),
        ("35 PSS-78", "practical_salinity", 35.0),
        ("20 L", "volume", 20.0),
        ("150 mg/L CaCO3", "alkalinity", 150 * 2 / 100.086),
        ("0.35 V", "redox_potential", 350.0),
        ("-178.0 mV", "redox_potential", -178.0),
    ],
)
def test_value(text: str, quantity: str, expected: float) -> None:
    assert parse_quantity(text, quantity) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ("0.5 degF", "temperature", 0.2778),
        ("0.15 degC", "temperature", 0.15),
        ("1 K", "temperature", 1.0),
        ("0 degC", "temperature", 0.0),
        ("0.05 pH", "ph", 0.05),
        ("0.3", "practical_salinity", 0.3),
        ("5 mm", "water_level", 0.5),
    ],
)
def test_difference(text: str, quantity: str, expected: float) -> None:
    assert parse_quantity(text, quantity, difference=True) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ("0.6 degC/h", "temperature", 0.6),
        ("0.6 degC / h", "temperature", 0.6),
        ("30 degF/h", "temperature", 16.6667),
        ("0.01 degC/min", "temperature", 0.6),
        ("24 degC/day", "temperature", 1.0),
        ("0.1 pH/h", "ph", 0.1),
        ("0.1/h", "ph", 0.1),
        ("1 mS/cm/h", "conductivity", 1.0),
        ("10 L/h/min", "flow", 600.0),
    ],
)
def test_rate_is_a_difference_per_hour(text: str, quantity: str, expected: float) -> None:
    assert parse_rate(text, quantity) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("text", "quantity", "says"),
    [
        ("", "temperature", "does not begin with a number"),
        ("degC", "temperature", "does not begin with a number"),
        ("warm", "temperature", '"25.4 degC"'),
        ("nan degC", "temperature", "does not begin with a number"),
        ("inf degC", "temperature", "does not begin with a number"),
        ("25,4 degC", "temperature", "with a decimal point"),
        ("1e999 degC", "temperature", "too large"),
        ("25.4", "temperature", "needs a unit"),
        ("25.4 degc", "temperature", 'did you mean "degC"'),
        ("25.4 degC 3", "temperature", "is not one of temperature"),
        ("0.6 degC/h", "temperature", "a rate of change stands"),
        ("35 ppt", "practical_salinity", "g/kg"),
        ("20 gal", "volume", "gal_us"),
        ("8.2 dKH", "temperature", "belongs to alkalinity"),
        ("-72 mV", "ph", "can arrive from a board"),
        ("20 cm", "volume", "can arrive from a board"),
        ("1.0264 sg", "practical_salinity", "can arrive from a board"),
        ("500 g/L", "practical_salinity", "no seawater"),
    ],
)
def test_mistake_names_the_text_and_what_would_be_right(text: str, quantity: str, says: str) -> None:
    with pytest.raises(ConfigError) as raised:
        parse_quantity(text, quantity)
    assert says in str(raised.value)
    assert f'"{text}"' in str(raised.value)


@pytest.mark.parametrize("text", ["0.6 degC", "0.6 degC/furlong", "/h", "degC/h", "0.6 degC/"])
def test_what_is_no_rate_is_refused(text: str) -> None:
    with pytest.raises(ConfigError):
        parse_rate(text, "temperature")


@given(st.text(max_size=20), st.sampled_from(sorted(QUANTITIES)), st.booleans())
def test_any_text_is_a_finite_number_or_a_mistake_of_the_operator(
    text: str, quantity: str, difference: bool
) -> None:
    with suppress(ConfigError):
        assert math.isfinite(parse_quantity(text, quantity, difference=difference))


@given(st.floats(-1e6, 1e6))
def test_any_number_comes_back_as_written(value: float) -> None:
    assert parse_quantity(f"{value!r} degC", "temperature") == value
