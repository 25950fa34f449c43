"""Specific gravity at stated references, and grams per litre."""

from __future__ import annotations

import pytest

from collector.errors import ConfigError, PayloadError
from collector.units import converter, parse_reference
from tests.units.series import series


@pytest.mark.parametrize(
    ("text", "sample", "water"),
    [
        ("20/20 degC", 20.0, 20.0),
        ("25/4 degC", 25.0, 4.0),
        ("25/25°C", 25.0, 25.0),
        (" 15.5 / 15.5 C ", 15.5, 15.5),
        # 60 degF are 15 5/9 degC by definition.
        ("60/60 degF", 140 / 9, 140 / 9),
        ("60/60F", 140 / 9, 140 / 9),
    ],
)
def test_pair_of_references(text: str, sample: float, water: float) -> None:
    assert parse_reference(text) == pytest.approx((sample, water))


@pytest.mark.parametrize(
    "text", ["", "20 degC", "20/20", "20/20 L", "20/20/20 degC", "sample/water degC", "-1/4 degC"]
)
def test_what_is_no_pair_is_refused_with_examples(text: str) -> None:
    with pytest.raises(ConfigError, match='"20/20 degC"'):
        parse_reference(text)


@pytest.mark.parametrize(
    ("text", "is_right"),
    [
        ("40/4 degC", True),
        ("40.1/4 degC", False),
        ("60/60 degC", False),
        ("32/32 degF", True),
        ("31/60 degF", False),
    ],
)
def test_references_of_no_instrument_are_refused(text: str, is_right: bool) -> None:
    if is_right:
        parse_reference(text)
        return
    with pytest.raises(ConfigError, match="is its unit right"):
        parse_reference(text)


# Salinity at a specific gravity of 1.0264: computed with the older equation of state (EOS-80).
@pytest.mark.parametrize(
    ("reference", "expected"), [("60/60 degF", 34.40), ("20/20 degC", 34.73), ("25/25 degC", 35.04)]
)
def test_the_reference_decides_what_a_number_means(reference: str, expected: float) -> None:
    convert = converter("sg", series("practical_salinity", reference=reference))
    assert convert(1.0264) == pytest.approx(expected, abs=0.011)


@pytest.mark.parametrize(
    ("spelling", "value"), [("sg", 0.99), ("sg", 1.2), ("sg", 26.4), ("g/L", -1.0), ("g/L", 200.0)]
)
def test_what_no_seawater_has_is_the_payloads_mistake(spelling: str, value: float) -> None:
    convert = converter(spelling, series("practical_salinity", reference="25/25 degC"))
    with pytest.raises(PayloadError, match="no seawater"):
        convert(value)
