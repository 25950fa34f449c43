"""The season of a long recording: a harmonic of the year, where there is a year to learn it from."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rules.baseline.held_out import LEVEL_DAYS
from rules.blocks import FloatArray, IntArray
from rules.local_time import DAY_US

# Mean length of the Gregorian year.
YEAR_US = round(365.2425 * DAY_US)
# A year without its last weeks is no year; and days must be known in most of its months.
_FEWEST_DAYS = 360
_KNOWN_SHARE = 0.8
# A season that makes tomorrow less than this much surer is left away.
_LEAST_GAIN = 0.03


@dataclass(frozen=True, slots=True)
class YearWave:
    """A yearly wave: `cosine` and `sine` of the phase since 1970-01-01 UTC, in the unit of the series."""

    cosine: float
    sine: float

    def at(self, time_us: int) -> float:
        """What the season adds at an instant."""
        phase = 2 * math.pi * (time_us % YEAR_US) / YEAR_US
        return self.cosine * math.cos(phase) + self.sine * math.sin(phase)


def fit_season(days_us: IntArray, medians: FloatArray) -> YearWave | None:
    """Fit the yearly wave by robust regression; None without a year, or where it makes tomorrow no surer.

    Parameters
    ----------
    days_us
        Shape (n,): middles of days, in order of time.
    medians
        Shape (n,): the level of each; NaN where not known.
    """
    known = np.isfinite(medians)
    days_us, medians = days_us[known], medians[known]
    if not len(days_us):
        return None
    span = (int(days_us[-1]) - int(days_us[0])) / DAY_US + 1
    if span < _FEWEST_DAYS or len(days_us) < _KNOWN_SHARE * span:
        return None
    from statsmodels.robust import norms
    from statsmodels.robust.robust_linear_model import RLM

    phase = 2 * np.pi * (days_us % YEAR_US) / YEAR_US
    rows = np.column_stack((np.ones(len(phase)), np.cos(phase), np.sin(phase)))
    scale = float(np.median(np.abs(medians - np.median(medians))))
    if not scale > 0:
        return None
    fit = RLM((medians - np.median(medians)) / scale, rows, M=norms.HuberT()).fit(maxiter=20)
    _, cosine, sine = (float(one) * scale for one in fit.params)
    wave = cosine * np.cos(phase) + sine * np.sin(phase)
    plain, seasonal = _error(medians), _error(medians - wave)
    return YearWave(cosine, sine) if seasonal < (1 - _LEAST_GAIN) * plain else None


def _error(levels: FloatArray) -> float:
    """Median error of the median of a week as a forecast of the next day."""
    weeks = np.median(np.lib.stride_tricks.sliding_window_view(levels, LEVEL_DAYS)[:-1], axis=1)
    return float(np.median(np.abs(levels[LEVEL_DAYS:] - weeks)))
