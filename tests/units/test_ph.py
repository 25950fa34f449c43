"""pH of electrode millivolts, against the worked two-point calibration (computed by hand)."""

from __future__ import annotations

import pytest

from collector.units import converter
from tests.units.series import CALIBRATION, series

ELECTRODE = series("ph", unit="mV", calibration=CALIBRATION)


# pH = 7.00 + (E + 6.0) / -57.1429 at the temperature of calibration.
@pytest.mark.parametrize(
    ("millivolts", "expected"), [(-6.0, 7.0), (-178.0, 10.01), (-72.0, 8.1550), (-60.0, 7.9450), (0.0, 6.895)]
)
def test_through_two_buffers(millivolts: float, expected: float) -> None:
    assert converter(None, ELECTRODE)(millivolts) == pytest.approx(expected, abs=5e-5)
    assert converter("V", ELECTRODE)(millivolts / 1000.0) == pytest.approx(expected, abs=5e-5)


def test_ph_that_a_board_computed_itself_is_left_alone() -> None:
    assert converter("pH", ELECTRODE)(8.12) == 8.12
