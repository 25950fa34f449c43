"""pH from the millivolts of an electrode: through its two buffers, at the temperature of calibration.

The temperature of the water moves the slope; `collector.derivation` corrects for it, since it comes from
another series.
"""

from __future__ import annotations

from collector.configuration import Calibration, SeriesConfiguration
from collector.errors import ConfigError
from collector.units.factors import Conversion
from rules import physics


def electrode(calibration: Calibration) -> physics.Electrode:
    """Return the electrode that a calibration describes."""
    return physics.Electrode.from_buffers(
        (calibration.first_ph, calibration.first_mv),
        (calibration.second_ph, calibration.second_mv),
        calibration.temperature_celsius,
    )


def electrode_conversion(spelling: str, series: SeriesConfiguration) -> Conversion:
    """Return what makes pH of an electrode's "mV" or "V".

    Raises
    ------
    ConfigError
        If the series has no calibration.
    """
    if series.calibration is None:
        raise ConfigError(f'{spelling} of an electrode needs "calibration": two buffers and their millivolts')
    line = electrode(series.calibration)
    if spelling == "mV":
        return line.ph
    return lambda volts: line.ph(volts * 1000.0)
