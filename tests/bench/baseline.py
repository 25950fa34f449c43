"""Which baseline holds the next day best: the forms and methods that were compared, on recorded series.

python tests/bench/baseline.py [--nights 20] [--slow-nights 5] [--data FOLDER]

Each night a method learns from the trailing four weeks and says what is usual on the day that follows, as
the service does. All methods are given the same level (median of a week) and the same band (as wide as
held-out days ask), so that they differ in the shape of the day alone; the last rows are the fit as it is
released, and the plain median day with three robust sigmas that it replaced. The series are those that lie
beside the checkout, and the sea surface temperature of bokeh_sampledata, which anybody can install.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple, TypeAlias

# Threads of a linear algebra library are slower on tables of this size.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from tqdm import tqdm

from rules import Learning, PoorFit, fit_baseline
from rules.baseline.day_grid import SLOTS, DayGrid, day_grid
from rules.baseline.held_out import LEVEL_DAYS, level_of, spread_of
from rules.baseline.shapes import FORMS, WEEK, centred, tables_of
from rules.local_time import DAY_US, weekday_of

BESIDE = Path(__file__).resolve().parents[3] / "shared" / "data" / "real"
DAYS = 28
ALPHA = 0.01
# Values of (days, 96) and weekdays of these -> table (7, 96), Monday first.
Method: TypeAlias = Callable[[np.ndarray, np.ndarray], np.ndarray]


# -- the series ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Recorded:
    """A series in its time zone; quarter-hour means where it is finer."""

    name: str
    quantity: str
    zone: str
    times_us: np.ndarray
    values: np.ndarray


def recorded(name: str, quantity: str, zone: str, times: pd.Series, values: pd.Series) -> Recorded:
    """Means of quarters of an hour, NaN left out."""
    series = pd.Series(np.asarray(values, float), pd.DatetimeIndex(pd.to_datetime(times, utc=True))).dropna()
    means = series.resample("15min").mean().dropna()
    return Recorded(name, quantity, zone, means.index.as_unit("us").asi8, means.to_numpy())


def beside(folder: Path) -> Iterator[Recorded]:
    """The recorded series that lie beside the checkout, without what people have rejected."""
    east, central, mountain = "America/New_York", "America/Chicago", "America/Denver"
    for station, zone, names in (
        ("gndblwq_2021-07_2021-08", central, ("temp", "ph")),
        ("apacpwq_2012", east, ("temp", "sal")),
    ):
        table = pd.read_csv(folder / f"nerr-swmp/{station}.csv.gz")
        for name in names:
            good = table[f"f_{name}"].astype(str).str.startswith(("<0>", "<4>", "<5>"))
            yield recorded(f"{station[:3]} {name}", name, zone, table.timestamp, table[name].where(good))
    table = pd.read_csv(folder / "casco-bay-acidification/focb_cms1_hourly.csv.gz")
    for column in ("temp_degC", "ph_nbs", "sal_psu"):
        yield recorded(f"dock {column}", column, east, table.timestamp, table[column])
    table = pd.read_csv(folder / "gecco2018-drinking-water/gecco2018_train.csv.gz")
    for column in ("Tp", "pH", "Leit"):
        quiet = table[column].where(table.EVENT.astype(str).isin(["0", "False", "FALSE"]))
        yield recorded(f"works {column}", column, "Europe/Berlin", table.timestamp, quiet)
    for station, name in (("TonyGrove2014", "ph"), ("FranklinBasin2014", "temp")):
        table = pd.read_csv(folder / f"lro-logan-river/{station}.csv.gz")
        good = table[name].where(table[f"{name}_anom"] == 0)
        yield recorded(f"stream {name}", name, mountain, table.timestamp, good)
    table = pd.read_csv(folder / "nab/realKnownCause/ambient_temperature_system_failure.csv")
    yield recorded("office air", "air", east, table.timestamp, table.value.where(table.in_window == 0))


def sea() -> Iterator[Recorded]:
    """Sea surface temperature every half hour, a year of it."""
    spec = find_spec("bokeh_sampledata")
    if spec is not None and spec.origin is not None:
        path = Path(spec.origin).parent / "_data" / "sea_surface_temperature.csv.gz"
        table = pd.read_csv(path, names=["time", "value"], skiprows=1)
        yield recorded("sea surface", "sea", "America/New_York", table.time, table.value)


# -- the methods -----------------------------------------------------------------------------------


def form(name: str) -> Method:
    """A form of ours, alone."""
    return lambda values, weekdays: tables_of(values, weekdays)[name]


def filled(values: np.ndarray) -> np.ndarray:
    """Without gaps, which decompositions do not take: the level of the day and the median of the quarter."""
    levels = pd.Series(np.nanmedian(values, axis=1)).interpolate(limit_direction="both").to_numpy()[:, None]
    usual = np.nan_to_num(np.nanmedian(values - levels, axis=0))
    return np.where(np.isfinite(values), values, levels + usual)


def stl(values: np.ndarray, _weekdays: np.ndarray) -> np.ndarray:
    """Robust STL; the last cycle of its slowly changing season."""
    from statsmodels.tsa.seasonal import STL

    found = STL(
        filled(values).ravel(), period=SLOTS, seasonal=15, robust=True, seasonal_jump=10, trend_jump=10,
        low_pass_jump=10,
    ).fit()  # fmt: skip
    return centred(np.tile(found.seasonal[-SLOTS:], (WEEK, 1)))


def mstl(values: np.ndarray, weekdays: np.ndarray) -> np.ndarray:
    """Robust MSTL of day and week; STL of the day while there are no two weeks."""
    from statsmodels.tsa.seasonal import MSTL

    if len(values) <= 2 * WEEK:
        return stl(values, weekdays)
    jumps = {"robust": True, "seasonal_jump": 10, "trend_jump": 10, "low_pass_jump": 10}
    found = MSTL(filled(values).ravel(), periods=(SLOTS, WEEK * SLOTS), stl_kwargs=jumps).fit()
    day, week = found.seasonal[-SLOTS:, 0], found.seasonal[-WEEK * SLOTS :, 1].reshape(WEEK, SLOTS)
    table = np.empty((WEEK, SLOTS))
    table[weekdays[-WEEK:]] = day + week
    return centred(table)


def state_space(values: np.ndarray, weekdays: np.ndarray) -> np.ndarray:
    """Local level and three fixed harmonics of the day; what it forecasts for a week."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    model = UnobservedComponents(
        values.ravel(), level="local level", freq_seasonal=[{"period": SLOTS, "harmonics": 3}],
        stochastic_freq_seasonal=[False],
    )  # fmt: skip
    forecast = model.fit(disp=False, maxiter=50).forecast(WEEK * SLOTS).reshape(WEEK, SLOTS)
    return centred(np.roll(forecast, (int(weekdays[-1]) + 1) % WEEK, axis=0))


def quantile(values: np.ndarray, _weekdays: np.ndarray) -> np.ndarray:
    """Harmonics by regression of the median."""
    from statsmodels.regression.quantile_regression import QuantReg

    from rules.baseline.shapes import HARMONICS, running_level

    angle = np.arange(SLOTS) * 2 * np.pi / SLOTS
    waves = [wave(k * angle) for k in range(1, HARMONICS + 1) for wave in (np.cos, np.sin)]
    day = np.column_stack([np.ones(SLOTS), *waves])
    left = (values - running_level(values)).ravel()
    known = np.isfinite(left)
    found = QuantReg(left[known], np.tile(day, (len(values), 1))[known]).fit(q=0.5, max_iter=200)
    return centred(np.tile(day @ np.asarray(found.params), (WEEK, 1)))


LEVEL_ALONE = "level alone"
FAST: dict[str, Method] = {
    f"ours, always {name}" if number else LEVEL_ALONE: form(name) for number, name in enumerate(FORMS)
}
SLOW: dict[str, Method] = {
    "STL, robust, jumps": stl,
    "harmonics, regression of the median": quantile,
    "state space, 3 harmonics": state_space,
    "MSTL, robust, jumps": mstl,
}
RELEASED, BEFORE = "ours as released", "median day, 3 robust sigmas (before)"


# -- one night -------------------------------------------------------------------------------------


class Said(NamedTuple):
    """A band for some quarters of an hour, what it took, and what it states of itself."""

    centre: np.ndarray
    half_width: np.ndarray
    took_s: float
    stated: float = np.nan
    pattern: str = ""


class Scored(NamedTuple):
    """How a band did on the day that followed; `score` is the interval score of 99 %. NaN: no band."""

    series: str
    night: int
    method: str
    held: float
    width: float
    score: float
    error: float
    took_s: float
    stated: float
    pattern: str


def residuals_of(grid: DayGrid, method: Method) -> np.ndarray:
    """What the last fourteen days leave beside what a method says of them on the evenings before."""
    weekdays, rows = grid.weekdays, []
    days = len(grid.values)
    first = max(4, days - 14)
    middle = (first + days) // 2
    for begin, end in ((first, middle), (middle, days)):
        table = method(grid.bridged[:begin], weekdays[:begin])
        for day in range(begin, end):
            seen = slice(max(0, day - LEVEL_DAYS), day)
            level = level_of(grid.bridged[seen], table[weekdays[seen]])
            rows.append(grid.values[day] - level - table[weekdays[day]])
    return np.array(rows)


def with_band(grid: DayGrid, method: Method, weekday: int) -> Said:
    """A shape with our level and our band, for the next day."""
    started = time.perf_counter()
    spread = spread_of(residuals_of(grid, method), 0.0)
    table = method(grid.bridged, grid.weekdays)
    last = slice(-LEVEL_DAYS, None)
    level = level_of(grid.bridged[last], table[grid.weekdays[last]])
    took_s = time.perf_counter() - started
    return Said(level + table[weekday], spread.half_width, took_s, spread.coverage)


def median_day(grid: DayGrid) -> Said:
    """The plain median day with three robust standard deviations."""
    started = time.perf_counter()
    centre = pd.Series(np.nanmedian(grid.bridged, axis=0)).interpolate(limit_direction="both").to_numpy()
    sizes = np.abs(grid.bridged - centre)
    around = np.concatenate((sizes[:, -2:], sizes, sizes[:, :2]), axis=1)
    spread = np.array([np.nanmedian(around[:, slot : slot + 5]) for slot in range(SLOTS)])
    return Said(centre, 3 * 1.4826 * spread, time.perf_counter() - started)


def released(series: Recorded, midnight_us: int, times_us: np.ndarray) -> Said:
    """The fit as the service makes it, as of a midnight, at instants of the day after."""
    seen = (series.times_us >= midnight_us - DAYS * DAY_US) & (series.times_us < midnight_us)
    started = time.perf_counter()
    fitted = fit_baseline(series.times_us[seen], series.values[seen], series.zone, "other")
    took_s = time.perf_counter() - started
    if isinstance(fitted, Learning | PoorFit):
        nothing = np.full(len(times_us), np.nan)
        return Said(nothing, nothing, took_s, pattern="none")
    low, high = fitted.expect(times_us)
    pattern = fitted.pattern
    if midnight_us - fitted.until_us > DAY_US:
        pattern = "of a week ago"
    return Said((low + high) / 2, (high - low) / 2, took_s, fitted.coverage, pattern)


def scored(series: str, night: int, method: str, values: np.ndarray, said: Said) -> Scored:
    """Hold the values of a day against a band."""
    known = np.isfinite(values)
    value, centre, half = values[known], said.centre[known], said.half_width[known]
    beyond = np.maximum(np.abs(value - centre) - half, 0.0)
    width = float(np.mean(2 * half))
    held = np.nan if np.isnan(width) else float(np.mean(beyond == 0.0))
    return Scored(
        series,
        night,
        method,
        held,
        width,
        width + 2 / ALPHA * float(np.mean(beyond)),
        float(np.mean(np.abs(value - centre))),
        said.took_s,
        said.stated,
        said.pattern,
    )


def judge_night(series: Recorded, whole: DayGrid, row: int, methods: dict[str, Method]) -> list[Scored]:
    """Every method on one night; none where too little is known."""
    seen = slice(row - DAYS, row)
    grid = DayGrid(whole.first_day + row - DAYS, whole.values[seen], whole.bridged[seen])
    today = whole.values[row]
    known = np.isfinite(grid.bridged)
    if known.mean() < 0.8 or known[-3:].mean() < 0.5 or np.isfinite(today).sum() < 12:
        return []
    weekday = weekday_of(whole.first_day + row)
    found = {name: with_band(grid, method, weekday) for name, method in methods.items()}
    found[BEFORE] = median_day(grid)
    scores = [scored(series.name, row, name, today, said) for name, said in found.items()]
    midnight_us, next_us = (_midnight_us(whole.first_day + row + days, series.zone) for days in (0, 1))
    within = (series.times_us >= midnight_us) & (series.times_us < next_us)
    said = released(series, midnight_us, series.times_us[within])
    return [*scores, scored(series.name, row, RELEASED, series.values[within], said)]


def _midnight_us(day: int, zone: str) -> int:
    at = pd.Timestamp(day, unit="D").tz_localize(zone, nonexistent="shift_forward", ambiguous=True)
    return round(at.timestamp()) * 1_000_000


# -- tables ----------------------------------------------------------------------------------------


METHOD_HEAD = """
| method | held (aim 99 %) | least of a series | days under 90 % | width | interval score | error | fit |
|---|---|---|---|---|---|---|---|"""
SERIES_HEAD = """
| series | nights | without | stated | held | half width | error below the level's | forms |
|---|---|---|---|---|---|---|---|"""
INDEX = ["series", "night"]


def print_methods(found: pd.DataFrame, names: list[str]) -> None:
    """A row per method; ratios are geometric means over series against the level alone, night for night."""
    print(METHOD_HEAD)
    base = found[found.method == LEVEL_ALONE].set_index(INDEX)
    for name in names:
        rows = found[(found.method == name) & found.held.notna()].set_index(INDEX)
        if rows.empty:
            continue
        by_series = rows.groupby(level="series")
        beside = base.loc[rows.index].groupby(level="series")
        ratios = [by_series[one].mean() / beside[one].mean() for one in ("width", "score", "error")]
        cells = " | ".join(f"{np.exp(np.log(ratio).mean()):.2f}" for ratio in ratios)
        held = by_series.held.mean()
        print(
            f"| {name} | {held.mean():.1%} | {held.min():.1%} | {(rows.held < 0.9).mean():.1%} | {cells} "
            f"| {1000 * rows.took_s.median():.0f} ms |"
        )


def print_series(found: pd.DataFrame) -> None:
    """A row per series for the fit as it is released."""
    print(SERIES_HEAD)
    base = found[found.method == LEVEL_ALONE].set_index(INDEX)
    for name, rows in found[found.method == RELEASED].groupby("series", sort=False):
        known = rows[rows.held.notna()].set_index(INDEX)
        if known.empty:
            print(f"| {name} | {len(rows)} | {len(rows)} | | | | | |")
            continue
        less = 1 - known.error.mean() / base.loc[known.index].error.mean()
        forms = ", ".join(f"{form} {count}" for form, count in known.pattern.value_counts().items())
        print(
            f"| {name} | {len(rows)} | {len(rows) - len(known)} | {known.stated.mean():.1%} "
            f"| {known.held.mean():.1%} | {known.width.mean() / 2:.3g} | {less:.0%} | {forms} |"
        )


def main() -> None:
    """Run the comparison and print its tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--nights", type=int, default=20, help="nights of each series (default 20)")
    parser.add_argument("--slow-nights", type=int, default=5, help="of these for slow methods (default 5)")
    parser.add_argument("--data", type=Path, default=BESIDE, help="folder of recorded series")
    options = parser.parse_args()
    warnings.simplefilter("ignore")  # statsmodels says where an optimiser stopped; the scores tell
    np.seterr(all="ignore")

    series = [*sea(), *(beside(options.data) if options.data.is_dir() else ())]
    if not series:
        parser.error(f"no series: install bokeh_sampledata, or name a folder that exists ({options.data})")
    fit_baseline(series[0].times_us[:2000], series[0].values[:2000], "UTC", "other")  # loads statsmodels
    found: list[Scored] = []
    slow: list[Scored] = []
    for one in tqdm(series, unit="series", disable=None):
        grid = day_grid(one.times_us, one.values, one.zone)
        nights = np.unique(np.linspace(DAYS, len(grid.values) - 1, options.nights).astype(int))
        few = set(nights[:: max(1, len(nights) // options.slow_nights)].tolist())
        for row in nights.tolist():
            found += judge_night(one, grid, row, FAST)
            if row in few:
                slow += judge_night(one, grid, row, {LEVEL_ALONE: FAST[LEVEL_ALONE], **SLOW})
    fast_table, slow_table = pd.DataFrame(found), pd.DataFrame(slow)
    count, slow_count = (len(table.groupby(INDEX)) for table in (fast_table, slow_table))
    print(f"{date.today()}, {platform.machine()}, CPython {platform.python_version()}")
    print(f"\n{len(series)} series, {count} nights:")
    print_methods(fast_table, [*FAST, BEFORE, RELEASED])
    print(f"\nSlow methods, {slow_count} of these nights:")
    print_methods(slow_table, [LEVEL_ALONE, *SLOW, BEFORE, RELEASED])
    print("\nAs released:")
    print_series(fast_table)


if __name__ == "__main__":
    main()
