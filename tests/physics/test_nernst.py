"""The pH electrode against the Nernst equation and a worked two-point calibration, computed elsewhere."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.physics import Electrode, nernst_slope, ph_at_temperature

# pH 7.00 at -6.0 mV and pH 10.01 at -178.0 mV, both at 25 degC.
WORKED = Electrode.from_buffers((7.0, -6.0), (10.01, -178.0))

CELSIUS = st.floats(5.0, 40.0)
PH = st.floats(4.0, 10.0)


# R T ln 10 / F with the constants of the SI of 2019, computed values. 59.16 at 25 degC is in every
# textbook of analytical chemistry.
@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (0, 54.1988),
        (10, 56.1830),
        (15, 57.1751),
        (20, 58.1672),
        (24, 58.9609),
        (25, 59.1593),
        (26, 59.3578),
        (28, 59.7546),
        (30, 60.1515),
        (35, 61.1436),
    ],
)
def test_ideal_slope(celsius: float, expected: float) -> None:
    assert nernst_slope(celsius) == pytest.approx(expected, abs=6e-5)


def test_ideal_slope_is_zero_at_absolute_zero() -> None:
    assert nernst_slope(-273.15) == 0.0


# Worked example, computed by hand from the two buffers.
def test_two_buffers_give_slope_efficiency_and_zero() -> None:
    assert WORKED.slope == pytest.approx(-57.1429, abs=5e-5)
    assert WORKED.efficiency == pytest.approx(0.96591, abs=5e-6)
    # Zero millivolts are at pH 6.895.
    assert WORKED.ph(0.0) == pytest.approx(6.895, abs=1e-9)


@pytest.mark.parametrize(
    ("millivolts", "celsius", "expected"),
    [
        (-72.0, 25.0, 8.1550),
        (-72.0, 20.0, 8.1747),
        (-72.0, 30.0, 8.1360),
        (-60.0, 25.0, 7.9450),
        (-60.0, 27.0, 7.9387),
    ],
)
def test_millivolts_at_the_temperature_of_the_water(
    millivolts: float, celsius: float, expected: float
) -> None:
    assert WORKED.ph(millivolts, celsius) == pytest.approx(expected, abs=5e-5)


def test_an_acid_buffer_gives_a_slope_above_the_ideal() -> None:
    electrode = Electrode.from_buffers((7.0, -6.0), (4.01, 171.0))
    assert electrode.slope == pytest.approx(-59.1973, abs=5e-5)
    assert electrode.efficiency == pytest.approx(1.00064, abs=5e-6)


# Computed: true pH 8.2 read with the slope of 25 degC.
@pytest.mark.parametrize(
    ("celsius", "error"), [(20.0, -0.0201), (22.0, -0.0121), (28.0, 0.0121), (30.0, 0.0201)]
)
def test_what_leaving_compensation_out_costs(celsius: float, error: float) -> None:
    ideal = Electrode(-nernst_slope(25.0), 0.0, 25.0)
    millivolts = -(8.2 - 7.0) * nernst_slope(celsius)
    assert ideal.ph(millivolts) - 8.2 == pytest.approx(error, abs=6e-5)
    assert ideal.ph(millivolts, celsius) == pytest.approx(8.2)


def test_order_of_buffers_does_not_matter() -> None:
    turned = Electrode.from_buffers((10.01, -178.0), (7.0, -6.0))
    assert turned.ph(-72.0, 20.0) == pytest.approx(WORKED.ph(-72.0, 20.0))


@pytest.mark.parametrize("second", [(7.0, -178.0), (10.01, -6.0)])
def test_buffers_that_give_no_line_are_refused(second: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="no slope"):
        Electrode.from_buffers((7.0, -6.0), second)


@given(PH, CELSIUS, CELSIUS)
def test_there_and_back_between_temperatures(ph: float, one: float, other: float) -> None:
    assert ph_at_temperature(ph_at_temperature(ph, one, other), other, one) == pytest.approx(ph)


@given(CELSIUS, CELSIUS)
def test_temperature_does_not_move_the_isopotential_point(one: float, other: float) -> None:
    assert ph_at_temperature(7.0, one, other) == 7.0


@given(PH, PH, CELSIUS)
def test_fewer_millivolts_are_more_alkaline(one: float, other: float, celsius: float) -> None:
    low, high = sorted((one, other))
    millivolts = [WORKED.zero + WORKED.slope * (ph - 7.0) for ph in (low, high)]
    assert WORKED.ph(millivolts[0], celsius) <= WORKED.ph(millivolts[1], celsius)


def test_not_a_number_stays_one() -> None:
    assert math.isnan(WORKED.ph(math.nan))
    assert math.isnan(WORKED.ph(-72.0, math.nan))
