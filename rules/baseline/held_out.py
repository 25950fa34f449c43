"""How a shape does on days that it has not seen: residuals, the band that they ask for, and its coverage.

The last days are held out, each predicted from the days before it as tomorrow is predicted tonight. The
band is scaled in the manner of conformal prediction, and its coverage is measured with each held-out day
judged by the width that the other days ask for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rules.baseline.day_grid import SLOTS, DayGrid
from rules.baseline.shapes import FORMS, WEEK, tables_of
from rules.blocks import FloatArray

# Share of quarters of an hour that the band aims to hold; what it did hold is measured and kept with it.
AIMED_COVERAGE = 0.99
# The level is the median of a week: seasons of the room are followed within days, and nothing that lasts
# less than half a week moves it.
LEVEL_DAYS = 7
_HELD_OUT_DAYS = 14
_FEWEST_SEEN_DAYS = 4
# What lies farther out than this, in robust standard deviations, is an event and not the usual.
EXCURSION_SIGMAS = 5.0
# 1 / Phi^-1(0.75): turns a median absolute deviation into a standard deviation of normal data.
_MAD_TO_SIGMA = 1.482602218505602
# Quarters on either side that lend their residuals to a quarter's spread.
_LENDING = 4


def level_of(values: FloatArray, shape_rows: FloatArray) -> float:
    """Median of what days leave beside their shape; NaN if nothing is known. Both of shape (days, 96)."""
    rest = values - shape_rows
    known = rest[np.isfinite(rest)]
    return float(np.median(known)) if len(known) else math.nan


def residuals_of(grid: DayGrid) -> dict[str, FloatArray]:
    """What the held-out days leave beside what each form predicted for them, shape (days, 96)."""
    days = len(grid.values)
    weekdays = grid.weekdays
    first = max(_FEWEST_SEEN_DAYS, days - _HELD_OUT_DAYS)
    middle = (first + days) // 2
    # In two parts, the shapes fitted anew between them; the level is that of each evening.
    parts = [(first, days)] if days - first < WEEK else [(first, middle), (middle, days)]
    rows: dict[str, list[FloatArray]] = {form: [] for form in FORMS}
    for begin, end in parts:
        for form, table in tables_of(grid.bridged[:begin], weekdays[:begin]).items():
            for day in range(begin, end):
                seen = slice(max(0, day - LEVEL_DAYS), day)
                level = level_of(grid.bridged[seen], table[weekdays[seen]])
                rows[form].append(grid.values[day] - level - table[weekdays[day]])
    return {form: np.array(found) for form, found in rows.items()}


@dataclass(frozen=True, slots=True)
class Spread:
    """Half width of the band for each quarter of an hour, shape (96,), and the share it really held."""

    half_width: FloatArray
    coverage: float


def spread_of(residuals: FloatArray, least: float) -> Spread:
    """Find the band that held-out residuals ask for, and measure its coverage.

    A day is the unit: hours of one day go wrong together, so the band is as wide as the worst of the days
    asks. Single excursions far beyond the rest, such as work that nobody announced, do not widen it; they
    count as not held.

    Parameters
    ----------
    residuals
        Shape (days, 96), NaN where not known; at least one is.
    least
        Smallest half width, in the unit of the series.

    References
    ----------
    Split conformal prediction with locally scaled residuals: Lei, G'Sell, Rinaldo, Tibshirani, Wasserman,
    "Distribution-free predictive inference for regression", JASA 113 (2018), sections 2.2 and 5.2.
    """
    sizes = np.abs(residuals)
    shape = _shape_of_spread(np.minimum(sizes, _excursion(sizes)))
    scores = sizes / shape
    known = np.isfinite(scores)
    excursion = _excursion(scores)
    asked = np.where(known & (scores <= excursion), scores, 0.0).max(axis=1)
    held = 0
    for day in range(len(sizes)):
        others = float(np.delete(asked, day).max(initial=0.0))
        held += int((sizes[day] <= np.maximum(others * shape, least)).sum())
    return Spread(np.maximum(asked.max() * shape, least), held / int(known.sum()))


def _excursion(sizes: FloatArray) -> float:
    """Where an excursion begins; nowhere for what mostly rests, such as a pump that runs now and then."""
    return EXCURSION_SIGMAS * _MAD_TO_SIGMA * float(np.nanmedian(sizes)) or math.inf


def _shape_of_spread(sizes: FloatArray) -> FloatArray:
    """How wide the residuals are at each quarter beside one another; half of it is that of the whole day."""
    known = sizes[np.isfinite(sizes)]
    whole = float(np.mean(known)) if len(known) else 0.0
    if not whole > 0:
        return np.ones(SLOTS)
    around = np.concatenate((sizes[:, -_LENDING:], sizes, sizes[:, :_LENDING]), axis=1)
    totals = np.concatenate(([0.0], np.cumsum(np.nansum(around, axis=0))))
    counts = np.concatenate(([0], np.cumsum(np.isfinite(around).sum(axis=0))))
    width = 2 * _LENDING + 1
    number = counts[width:] - counts[:-width]
    local = np.where(number > 0, (totals[width:] - totals[:-width]) / np.maximum(number, 1), whole)
    shape: FloatArray = np.sqrt((local**2 + whole**2) / 2)
    return shape
