"""How a series moves through its day and its week, apart from its level: the forms that a fit chooses from.

A shape is a table of shape (7, 96), Monday first, of what is added to the level in each quarter of an hour;
its median is zero. Harmonics of the day are fitted by robust regression; where a timer makes edges that no
few harmonics follow, there is the median day.
"""

from __future__ import annotations

import numpy as np

from rules.baseline.day_grid import SLOTS
from rules.blocks import FloatArray, IntArray

WEEK = 7
# Down to a period of six hours; eight did no better on recorded series, and what has edges has its own form.
HARMONICS = 4
# A weekday is drawn to the day of all by this many days without anything of its own.
_WEEKDAY_SHRINKAGE = 0.25
# Quarters beside one another that a weekday's own deviation is averaged over.
_WEEKDAY_SMOOTHING = 9

# The forms, the simplest first: one that follows must be clearly better.
LEVEL, DAY, DAY_WITH_EDGES, WEEK_OF_DAYS, WEEK_WITH_EDGES = FORMS = (
    "level",
    "day",
    "day with edges",
    "week",
    "week with edges",
)
_HOURS = 24
# Iterations of the robust regression; it changes little after the first few.
_ITERATIONS = 10


def tables_of(values: FloatArray, weekdays: IntArray) -> dict[str, FloatArray]:
    """Fit every form to days, shape (days, 96), with the weekday of each."""
    departures, of_weeks = values - running_level(values), values - running_level(values, WEEK)
    day, edges = harmonic_day(departures), median_day(departures)
    return {
        LEVEL: np.zeros((WEEK, SLOTS)),
        DAY: day,
        DAY_WITH_EDGES: edges,
        WEEK_OF_DAYS: _with_weekdays(day, of_weeks, weekdays),
        WEEK_WITH_EDGES: _with_weekdays(edges, of_weeks, weekdays),
    }


def running_level(values: FloatArray, days: int = 1) -> FloatArray:
    """Mean of the days around each quarter of an hour, for (m, 96) values; NaN where half is not known."""
    flat = values.ravel()
    known = np.isfinite(flat)
    totals = np.concatenate(([0.0], np.cumsum(np.where(known, flat, 0.0))))
    counts = np.concatenate(([0], np.cumsum(known)))
    width = days * SLOTS
    low = np.clip(np.arange(len(flat)) - width // 2, 0, max(0, len(flat) - width))
    high = np.minimum(low + width, len(flat))
    number = counts[high] - counts[low]
    means = np.full(len(flat), np.nan)
    enough = 2 * number > high - low
    means[enough] = (totals[high] - totals[low])[enough] / number[enough]
    return means.reshape(values.shape)


def harmonic_day(departures: FloatArray) -> FloatArray:
    """A day of harmonics, by Huber's robust regression of what days leave beside their mean.

    References
    ----------
    Huber, "Robust Statistics" (1981), chapter 7; statsmodels' RLM.
    """
    from statsmodels.robust import norms
    from statsmodels.robust.robust_linear_model import RLM

    angle = np.arange(SLOTS) * (2 * np.pi / SLOTS)
    day = np.column_stack(
        [np.ones(SLOTS)]
        + [wave(order * angle) for order in range(1, HARMONICS + 1) for wave in (np.cos, np.sin)]
    )
    # By the hour: harmonics of six hours and slower need no finer, and threads of a linear algebra library
    # stay out of tables of this size, in which they would cost more than they bring.
    hours = departures.reshape(len(departures), _HOURS, -1).mean(axis=2).ravel()
    rows = day.reshape(_HOURS, -1, day.shape[1]).mean(axis=1)
    known = np.isfinite(hours)
    scale = float(np.median(np.abs(hours[known]))) if known.any() else 0.0
    if not scale > 0:
        # Nothing moves, or something moves seldom: no few harmonics say when.
        return np.zeros((WEEK, SLOTS))
    design = np.tile(rows, (len(departures), 1))[known]
    fit = RLM(hours[known] / scale, design, M=norms.HuberT()).fit(maxiter=_ITERATIONS)
    return centred(np.tile(day @ np.asarray(fit.params) * scale, (WEEK, 1)))


def median_day(departures: FloatArray) -> FloatArray:
    """The median of each quarter of an hour of what days leave beside their mean."""
    return centred(np.tile(_medians(departures), (WEEK, 1)))


def _with_weekdays(day: FloatArray, departures: FloatArray, weekdays: IntArray) -> FloatArray:
    """A day, and what each weekday has of its own, as far as the weeks agree on it."""
    table = day.copy()
    left = departures - day[weekdays]
    for weekday in range(WEEK):
        own = left[weekdays == weekday]
        if len(own) < 2:
            continue
        weight = len(own) / (len(own) + _WEEKDAY_SHRINKAGE)
        table[weekday] += weight * _smooth(_medians(own))
    return centred(table)


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
