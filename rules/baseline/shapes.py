"""How a series moves through its day and its week, apart from its level: the forms that a fit chooses from.

A shape is a table of shape (7, 96), Monday first, of what is added to the level in each quarter of an hour;
its median is zero. Harmonics of the day are fitted by robust regression; where a timer makes edges that no
few harmonics follow, there is the median day.
"""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType
from typing import TypeAlias

import numpy as np

from rules.baseline.day_grid import SLOTS
from rules.blocks import FloatArray, IntArray

WEEK = 7
# Down to a period of three hours: what is faster belongs to thermostats, not to the day.
HARMONICS = 8
# A weekday counts as much as this many days without anything of its own.
_WEEKDAY_SHRINKAGE = 1.0
# Quarters beside one another that a weekday's own deviation is averaged over.
_WEEKDAY_SMOOTHING = 9

Shape: TypeAlias = Callable[[FloatArray, IntArray], FloatArray]


def running_level(values: FloatArray) -> FloatArray:
    """Mean of the day around each quarter of an hour, for (days, 96) values; NaN where half is not known."""
    flat = values.ravel()
    known = np.isfinite(flat)
    totals = np.concatenate(([0.0], np.cumsum(np.where(known, flat, 0.0))))
    counts = np.concatenate(([0], np.cumsum(known)))
    around = np.arange(len(flat))
    low = np.clip(around - SLOTS // 2, 0, max(0, len(flat) - SLOTS))
    high = np.minimum(low + SLOTS, len(flat))
    number = counts[high] - counts[low]
    means = np.full(len(flat), np.nan)
    enough = number > SLOTS // 2
    means[enough] = (totals[high] - totals[low])[enough] / number[enough]
    return means.reshape(values.shape)


def steady(_values: FloatArray, _weekdays: IntArray) -> FloatArray:
    """No pattern: the level alone."""
    return np.zeros((WEEK, SLOTS))


def harmonic_day(values: FloatArray, _weekdays: IntArray) -> FloatArray:
    """A day of harmonics, by Huber's robust regression of what a day leaves beside its mean."""
    from statsmodels.robust import norms
    from statsmodels.robust.robust_linear_model import RLM

    angle = np.arange(SLOTS) * (2 * np.pi / SLOTS)
    day = np.column_stack(
        [np.ones(SLOTS)]
        + [wave(order * angle) for order in range(1, HARMONICS + 1) for wave in (np.cos, np.sin)]
    )
    departures = (values - running_level(values)).ravel()
    known = np.isfinite(departures)
    rows = np.tile(day, (len(values), 1))[known]
    scale = np.median(np.abs(departures[known]))
    if not scale > 0:
        return steady(values, _weekdays)
    fit = RLM(departures[known] / scale, rows, M=norms.HuberT()).fit(maxiter=20, cov="H1")
    return centred(np.tile(day @ np.asarray(fit.params) * scale, (WEEK, 1)))


def median_day(values: FloatArray, _weekdays: IntArray) -> FloatArray:
    """The median of each quarter of an hour of what a day leaves beside its mean."""
    return centred(np.tile(_medians(values - running_level(values)), (WEEK, 1)))


def with_weekdays(day: Shape) -> Shape:
    """A shape of the day, and what each weekday has of its own, as far as the weeks agree on it."""

    def shape(values: FloatArray, weekdays: IntArray) -> FloatArray:
        table = day(values, weekdays)
        departures = values - running_level(values) - table[weekdays]
        for weekday in range(WEEK):
            own = departures[weekdays == weekday]
            if len(own) < 2:
                continue
            weight = len(own) / (len(own) + _WEEKDAY_SHRINKAGE)
            table[weekday] += weight * _smooth(_medians(own))
        return centred(table)

    return shape


# The simplest first: one that follows must be clearly better.
SHAPES = MappingProxyType[str, Shape](
    {
        "level": steady,
        "day": harmonic_day,
        "day with edges": median_day,
        "week": with_weekdays(harmonic_day),
        "week with edges": with_weekdays(median_day),
    }
)


def centred(table: FloatArray) -> FloatArray:
    """The table with its median at zero."""
    return table - np.median(table)


def _medians(departures: FloatArray) -> FloatArray:
    """Medians of the columns; zero where a column is not known."""
    known = np.isfinite(departures).any(axis=0)
    medians = np.zeros(SLOTS)
    medians[known] = np.nanmedian(departures[:, known], axis=0)
    return medians


def _smooth(day: FloatArray) -> FloatArray:
    """Mean of the quarters around, over midnight."""
    beside = _WEEKDAY_SMOOTHING // 2
    padded = np.concatenate((day[-beside:], day, day[:beside]))
    return np.convolve(padded, np.full(_WEEKDAY_SMOOTHING, 1 / _WEEKDAY_SMOOTHING), "valid")
