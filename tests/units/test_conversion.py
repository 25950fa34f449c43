"""Which unit an arriving value is taken to have, what is refused, and laws that hold for all of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import nullcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import ConfigError, PayloadError
from collector.units import SPELLINGS, converter, identity, is_compensated, parse_quantity
from collector.units.factors import straight
from rules import QUANTITIES
from tests.units.series import CALIBRATION, RESERVOIR, knowing, series

STRAIGHT = [
    (quantity, spelling)
    for quantity, units in SPELLINGS.items()
    for spelling, unit in units.items()
    if straight(unit, quantity) is not None
]
VALUES = st.floats(-1e6, 1e6)


@pytest.mark.parametrize("spelling", [None, ""])
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_without_any_unit_a_value_is_canonical(quantity: str, spelling: str | None) -> None:
    assert converter(spelling, series(quantity)) is identity


def test_unit_of_the_value_goes_before_that_of_the_series() -> None:
    thermometer = series("temperature", unit="degF")
    assert converter(None, thermometer)(77.0) == 25.0
    assert converter("degC", thermometer) is identity


def test_unit_of_the_level_table_is_that_of_a_series_without_one() -> None:
    assert converter(None, series("volume", level_table=RESERVOIR))(10.0) == 6.0
    assert converter(None, series("volume", level_table=RESERVOIR, unit="L")) is identity
    assert converter("L", series("volume", level_table=RESERVOIR)) is identity


@pytest.mark.parametrize("spelling", ["furlong", "degc", "mS/cm", "ppt", " ", "\x00", "1"])
def test_unknown_unit_of_a_payload_names_it_and_what_is_accepted(spelling: str) -> None:
    with pytest.raises(PayloadError) as raised:
        converter(spelling, series("temperature"))
    assert spelling in str(raised.value)
    assert "degC" in str(raised.value)


@pytest.mark.parametrize(
    ("quantity", "spelling", "needed"),
    [("ph", "mV", "calibration"), ("volume", "cm", "level_table"), ("practical_salinity", "sg", "reference")],
)
def test_what_a_unit_needs_of_the_series_is_asked_for(quantity: str, spelling: str, needed: str) -> None:
    with pytest.raises(ConfigError, match=needed):
        converter(spelling, series(quantity))


def test_raw_conductivity_is_no_salinity_and_the_message_says_how_to_make_one_of_it() -> None:
    with pytest.raises(PayloadError, match="derived_from"):
        converter("mS/cm", series("practical_salinity"))


def test_compensated_series_takes_millivolts_only() -> None:
    electrode = series("ph", unit="mV", calibration=CALIBRATION, temperature_from="temperature")
    assert is_compensated(electrode)
    assert converter(None, electrode)(-72.0) == pytest.approx(8.155, abs=5e-4)
    with pytest.raises(PayloadError, match="millivolts"):
        converter("pH", electrode)


def test_derived_series_is_not_compensated() -> None:
    assert not is_compensated(
        series("practical_salinity", derived_from="conductivity", temperature_from="temperature")
    )


@given(st.text(max_size=12), st.sampled_from(sorted(QUANTITIES)))
def test_any_text_is_a_known_spelling_or_one_of_our_errors(spelling: str, quantity: str) -> None:
    is_accepted = not spelling or spelling in SPELLINGS[quantity]
    refused = nullcontext() if is_accepted else pytest.raises(PayloadError, match="accepted")
    with refused:
        assert callable(converter(spelling, knowing(quantity, spelling)))


def _line(quantity: str, spelling: str, *, difference: bool = False) -> Callable[[float], float]:
    line = straight(SPELLINGS[quantity][spelling], quantity, difference=difference)
    assert line is not None
    return line


@given(st.sampled_from(STRAIGHT), VALUES, VALUES)
def test_difference_of_values_is_the_value_of_the_difference(
    unit: tuple[str, str], one: float, other: float
) -> None:
    value, difference = _line(*unit), _line(*unit, difference=True)
    assert value(one) - value(other) == pytest.approx(difference(one - other), rel=1e-6, abs=1e-6)


@given(st.sampled_from(STRAIGHT), VALUES, st.floats(1e-3, 1e3))
def test_more_stays_more(unit: tuple[str, str], value: float, more: float) -> None:
    convert = _line(*unit)
    assert convert(value + more) > convert(value)


@given(st.sampled_from(STRAIGHT), VALUES)
def test_there_and_back(unit: tuple[str, str], value: float) -> None:
    convert = _line(*unit)
    zero, slope = convert(0.0), convert(1.0) - convert(0.0)
    assert (convert(value) - zero) / slope == pytest.approx(value, rel=1e-9, abs=1e-7)


@given(st.sampled_from([one for one in STRAIGHT if one[0] not in ("contact", "state")]), st.floats(-1e4, 1e4))
def test_configuration_and_payload_agree(unit: tuple[str, str], value: float) -> None:
    quantity, spelling = unit
    assert parse_quantity(f"{value!r} {spelling}", quantity) == converter(spelling, series(quantity))(value)


@pytest.mark.parametrize(
    ("quantity", "spelling"), [(quantity, one) for quantity in SPELLINGS for one in SPELLINGS[quantity]]
)
def test_not_a_number_stays_one(quantity: str, spelling: str) -> None:
    assert math.isnan(converter(spelling, knowing(quantity, spelling))(math.nan))
