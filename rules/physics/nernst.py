"""The pH glass electrode: from millivolts to pH through two buffers, at the temperature of the water.

The Nernst equation says how the slope moves with temperature; a calibration says how far this electrode
is from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# Exact since the SI of 2019 (CODATA 2018), J/(mol K) and C/mol.
GAS_CONSTANT = 8.31446261815324
FARADAY = 96485.33212331
ZERO_CELSIUS = 273.15
# Where lines of different temperatures cross. Glass electrodes are filled so that it is at pH 7.
ISOPOTENTIAL_PH = 7.0


def nernst_slope(temperature: float) -> float:
    """Size of the ideal slope R T ln 10 / F of a pH electrode, in mV per pH; temperature in degC."""
    return 1000.0 * GAS_CONSTANT * (temperature + ZERO_CELSIUS) * math.log(10.0) / FARADAY


def ph_at_temperature(ph: float, assumed: float, temperature: float) -> float:
    """Correct a pH that was computed with the slope of one temperature for another one.

    Parameters
    ----------
    ph
        As computed.
    assumed
        Temperature whose slope was used, degC.
    temperature
        Temperature of electrode and water, degC, above absolute zero.

    Returns
    -------
    float
        pH; NaN if any input is NaN.
    """
    return ISOPOTENTIAL_PH + (ph - ISOPOTENTIAL_PH) * (assumed + ZERO_CELSIUS) / (temperature + ZERO_CELSIUS)


@dataclass(frozen=True, slots=True)
class Electrode:
    """A calibrated electrode: a straight line through pH 7, whose slope grows with absolute temperature.

    Parameters
    ----------
    slope
        mV per pH at the temperature of calibration; below 0 for a glass electrode as usually wired.
    zero
        mV at pH 7, whatever the temperature.
    temperature
        Of the calibration, degC.
    """

    slope: float
    zero: float
    temperature: float = 25.0

    @classmethod
    def from_buffers(
        cls, first: tuple[float, float], second: tuple[float, float], temperature: float = 25.0
    ) -> Electrode:
        """Draw the line through two buffers, each given as (pH, mV), both at `temperature` in degC.

        Raises
        ------
        ValueError
            If the buffers are alike in pH or in millivolts: no line goes through them.
        """
        (first_ph, first_mv), (second_ph, second_mv) = first, second
        if first_ph == second_ph or first_mv == second_mv:
            raise ValueError(f"no slope between pH {first_ph:g} at {first_mv:g} mV and pH {second_ph:g}")
        slope = (second_mv - first_mv) / (second_ph - first_ph)
        return cls(slope, first_mv + slope * (ISOPOTENTIAL_PH - first_ph), temperature)

    @property
    def efficiency(self) -> float:
        """Share of the ideal slope: 1 is a perfect electrode, below 0 one that is wired the other way."""
        return -self.slope / nernst_slope(self.temperature)

    def ph(self, millivolts: float, temperature: float | None = None) -> float:
        """Turn millivolts into pH at a temperature in degC, that of the calibration without one."""
        ph = ISOPOTENTIAL_PH + (millivolts - self.zero) / self.slope
        return ph if temperature is None else ph_at_temperature(ph, self.temperature, temperature)
