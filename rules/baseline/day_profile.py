"""What a series usually does at this time of day: a median day with a robust band.

A first, plain baseline: it answers as soon as enough days exist and is data, so it can be stored,
versioned and replaced by a better fit without touching the engine. Until there are enough days the
engine stands on limits and rates alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rules.baseline.band import DAYS_NEEDED, Band, Learning
from rules.blocks import FloatArray, IntArray
from rules.local_time import DAY_US, time_of_day_us

SLOTS = 96
SLOT_US = DAY_US // SLOTS
# 1 / Phi^-1(0.75): turns a median absolute deviation into a standard deviation of normal data.
_MAD_TO_SIGMA = 1.482602218505602
# Half width of the band in sigmas. Three leaves out 0.3 % of normal data.
_BAND_SIGMAS = 3.0
# Smallest half width by quantity: probes resolve no better, and a thermostat's hysteresis of 0.2 to
# 0.5 degC is no fault (common practice, no source).
_LEAST_HALF_WIDTH = {
    "temperature": 0.2,
    "ph": 0.05,
    "practical_salinity": 0.2,
    "water_level": 0.5,
    "volume": 0.5,
}


@dataclass(frozen=True, slots=True)
class DayProfile:
    """Low and high edge of the usual band for each quarter of an hour of the local day, shape (96,)."""

    time_zone: str
    low: tuple[float, ...]
    high: tuple[float, ...]

    def band_at(self, time_us: int) -> Band:
        """Return the usual band at an instant."""
        slot = int(time_of_day_us(np.array([time_us], np.int64), self.time_zone)[0] // SLOT_US)
        low, high = self.low[slot], self.high[slot]
        return Band(low, (low + high) / 2, high)

    def expect(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the band's edges at instants; see `Baseline`."""
        slot = time_of_day_us(times_us, self.time_zone) // SLOT_US
        return np.asarray(self.low)[slot], np.asarray(self.high)[slot]


def fit_day_profile(
    times_us: IntArray, values: FloatArray, time_zone: str, quantity: str
) -> DayProfile | Learning:
    """Fit the median day and its band.

    Parameters
    ----------
    times_us, values
        Shape (n,): means of a quarter of an hour or finer, without planned work, incidents and failed
        readings; NaN is left out.
    time_zone
        IANA name; the day is that of the clock on the wall.
    quantity
        Decides the least width of the band.

    Returns
    -------
    DayProfile or Learning
        `Learning` until values exist on `DAYS_NEEDED` different days in at least nine of ten slots.

    References
    ----------
    Robust spread by the median absolute deviation: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.6.
    """
    known = np.isfinite(values)
    times_us, values = times_us[known], values[known]
    days = len(np.unique(times_us // DAY_US))
    if days < DAYS_NEEDED:
        return Learning(days)
    slot = time_of_day_us(times_us, time_zone) // SLOT_US
    centre = np.full(SLOTS, np.nan)
    for number in range(SLOTS):
        inside = values[slot == number]
        if len(inside):
            centre[number] = np.median(inside)
    filled = np.isfinite(centre)
    if filled.sum() < 0.9 * SLOTS:
        return Learning(min(days, DAYS_NEEDED - 1))
    around = np.arange(SLOTS)
    centre = np.interp(around, around[filled], centre[filled], period=SLOTS)
    residual = np.abs(values - centre[slot])
    half = np.empty(SLOTS)
    for number in range(SLOTS):
        # The slots beside lend their residuals: 28 days alone are few for a spread.
        distance = np.abs((slot - number + SLOTS // 2) % SLOTS - SLOTS // 2)
        half[number] = np.median(residual[distance <= 2]) if (distance <= 2).any() else np.nan
    half = np.maximum(
        np.nan_to_num(half) * _MAD_TO_SIGMA * _BAND_SIGMAS, _LEAST_HALF_WIDTH.get(quantity, 0.0)
    )
    return DayProfile(time_zone, tuple((centre - half).tolist()), tuple((centre + half).tolist()))
