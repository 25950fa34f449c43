"""Fits what is usual: chooses the form by days held out, measures the band, and says so where it is poor.

Pure and slow (some hundredths of a second, and statsmodels is loaded by the first call): for a process of
its own at night, and for tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rules.baseline.band import DAYS_NEEDED, Learning, PoorFit
from rules.baseline.day_grid import SLOTS, DayGrid, day_grid
from rules.baseline.held_out import LEVEL_DAYS, Spread, level_of, residuals_of, spread_of
from rules.baseline.season import fit_season
from rules.baseline.shapes import tables_of
from rules.baseline.week_profile import WeekProfile
from rules.blocks import FloatArray, IntArray
from rules.local_time import DAY_US

# Four weeks: enough of each weekday, and young enough to follow the seasons of a room.
LEARN_DAYS = 28
# A band that holds less of unseen days than this is not what it says.
LEAST_COVERAGE = 0.95
# What has gone wrong for less than this leaves the baseline as it was before.
_TROUBLED_DAYS = 7
# A more elaborate form must err this much less than a simpler one.
_CLEARLY_BETTER = 0.97
# Columns of the day that must be known on a third of the days.
_COLUMNS_KNOWN = 0.9
# Smallest half width by quantity: probes resolve no better, and a thermostat's hysteresis of 0.2 to
# 0.5 degC is no fault (common practice, no source).
_LEAST_HALF_WIDTH = {
    "temperature": 0.2,
    "ph": 0.05,
    "practical_salinity": 0.2,
    "water_level": 0.5,
    "volume": 0.5,
}
_DIGITS = 7
_QUARTERS_AN_HOUR = 4
# What needs longer than this from one edge of the band to the other drifts along, and has no usual.
_HOURS_TO_CROSS = 48


def fit_baseline(
    times_us: IntArray,
    values: FloatArray,
    time_zone: str,
    quantity: str,
    excluded: Sequence[tuple[int, int]] = (),
    *,
    limits: tuple[float, float] | None = None,
    daily: tuple[IntArray, FloatArray] | None = None,
) -> WeekProfile | Learning | PoorFit:
    """Fit what a series usually does.

    Parameters
    ----------
    times_us, values
        Shape (n,), in order of time: means of a quarter of an hour or finer, without failed readings; NaN
        is left out. Only the last `LEARN_DAYS` days count.
    time_zone
        IANA name; the day is that of the clock on the wall.
    quantity
        Decides the least width of the band.
    excluded
        Begin and end, in microseconds since 1970 UTC, of incidents and planned work.
    limits
        Low and high limit of the series, in its unit, where it has both.
    daily
        Middles of days and levels of these, each of shape (m,), of as many years as there are; for the
        season. Less than a year is as good as none.

    Returns
    -------
    WeekProfile, Learning or PoorFit
        `Learning` until there are `DAYS_NEEDED` days that are known around the clock. Where the last week
        is unlike those before it, the profile is that of a week ago, as its `until_us` tells.
    """
    since_us = int(times_us[-1]) - LEARN_DAYS * DAY_US if len(times_us) else 0
    recent = times_us > since_us
    grid = day_grid(times_us[recent], values[recent], time_zone, excluded)
    until_us = int(times_us[-1]) if len(times_us) else 0
    found = _fit_grid(grid, time_zone, quantity, limits, until_us)
    if isinstance(found, PoorFit):
        # What goes wrong now must not take away that by which it is seen.
        calm = grid.without_last(_TROUBLED_DAYS)
        before = _fit_grid(calm, time_zone, quantity, limits, until_us - _TROUBLED_DAYS * DAY_US)
        found = before if isinstance(before, WeekProfile) else found
    season = fit_season(*daily) if isinstance(found, WeekProfile) and daily is not None else None
    if season is not None and isinstance(found, WeekProfile):
        return replace(found, season=season, season_from_us=found.until_us - LEVEL_DAYS * DAY_US // 2)
    return found


def _fit_grid(
    grid: DayGrid, time_zone: str, quantity: str, limits: tuple[float, float] | None, until_us: int
) -> WeekProfile | Learning | PoorFit:
    if (learning := _learning(grid)) is not None:
        return learning
    pattern, residuals = _choose(grid)
    known = residuals[np.isfinite(residuals)]
    if len(known) < SLOTS:
        # Days are there, and none beside others: nothing says how a prediction does.
        return Learning(DAYS_NEEDED - 1)
    spread = spread_of(residuals, _LEAST_HALF_WIDTH.get(quantity, 0.0))
    error, plain = float(np.mean(np.abs(known))), _plain_error(grid, len(residuals))
    skill = max(0.0, 1.0 - error / plain) if plain > 0 else 0.0
    if (poor := _judge(grid, spread, skill, quantity, limits)) is not None:
        return poor
    weekdays = grid.weekdays
    table = tables_of(grid.bridged, weekdays)[pattern]
    last = slice(-LEVEL_DAYS, None)
    level = level_of(grid.bridged[last], table[weekdays[last]])
    centre = table + (level if math.isfinite(level) else level_of(grid.bridged, table[weekdays]))
    return WeekProfile(
        time_zone=time_zone,
        centre=tuple(_rounded(row) for row in (centre if pattern.startswith("week") else centre[:1])),
        half_width=_rounded(spread.half_width),
        coverage=round(spread.coverage, 4),
        pattern=pattern,
        skill=round(skill, 4),
        days=grid.days_known,
        until_us=until_us,
    )


def _learning(grid: DayGrid) -> Learning | None:
    days = grid.days_known
    if days < DAYS_NEEDED:
        return Learning(days)
    known = np.isfinite(grid.bridged).sum(axis=0) * 3 >= days
    return None if known.mean() >= _COLUMNS_KNOWN else Learning(DAYS_NEEDED - 1)


def _choose(grid: DayGrid) -> tuple[str, FloatArray]:
    """The form that errs least on held-out days, the simplest of those that err nearly as little."""
    chosen, kept, least = "", np.empty(0), math.inf
    for form, residuals in residuals_of(grid).items():
        known = residuals[np.isfinite(residuals)]
        error = float(np.mean(np.abs(known))) if len(known) else math.inf
        if not chosen or error < _CLEARLY_BETTER * least:
            chosen, kept, least = form, residuals, error
    return chosen, kept


def _plain_error(grid: DayGrid, held_out: int) -> float:
    """Error on the held-out days of the median of all that came before each."""
    errors = []
    for day in range(len(grid.values) - held_out, len(grid.values)):
        level = level_of(grid.bridged[:day], np.zeros((day, SLOTS)))
        errors.append(np.abs(grid.values[day] - level))
    return float(np.nanmean(errors))


def _judge(
    grid: DayGrid, spread: Spread, skill: float, quantity: str, limits: tuple[float, float] | None
) -> PoorFit | None:
    """Why the fit is not worth judging by, None where it is."""
    half = float(np.median(spread.half_width))
    if spread.coverage < LEAST_COVERAGE:
        return PoorFit("coverage", round(spread.coverage, 4), half)
    allowed = math.inf if limits is None else limits[1] - limits[0]
    if 2 * half >= allowed:
        return PoorFit("width", round(spread.coverage, 4), half)
    is_narrow = half <= 2 * _LEAST_HALF_WIDTH.get(quantity, 0.0) or 2 * half <= allowed / 2 < math.inf
    if skill < 1 - _CLEARLY_BETTER and not is_narrow and _wanders(grid, half):
        return PoorFit("skill", round(spread.coverage, 4), half)
    return None


def _wanders(grid: DayGrid, half: float) -> bool:
    """Whether the band holds nearly all that was seen, and the series takes days to cross it."""
    known = grid.bridged[np.isfinite(grid.bridged)]
    low, high = np.quantile(known, (0.005, 0.995))
    flat = grid.bridged.ravel()
    hourly = np.abs(flat[_QUARTERS_AN_HOUR:] - flat[:-_QUARTERS_AN_HOUR])
    return bool(2 * half > 0.9 * (high - low) and np.nanmean(hourly) * _HOURS_TO_CROSS < 2 * half)


def _rounded(row: FloatArray) -> tuple[float, ...]:
    """Seven digits are beyond any probe, and short as text."""
    return tuple(float(f"{value:.{_DIGITS}g}") for value in row)
