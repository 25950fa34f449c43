"""Noise, glitches and slow wander of real sensors in real water. What do residuals of nature look like?

From recorded series that lie beside the checkout, of each a named clean stretch; without them, from sea
surface temperatures that anybody can install (package bokeh-sampledata). Nature is far wider than a tank:
the shape in time and the heavy tails are nature's, the size is that of the drawn probe (`worlds`) or stated
below.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

SHARED = Path(__file__).resolve().parents[4] / "shared" / "data" / "real"

# Quantity -> file, column, first and last day, samples of the running median that is taken away.
HIGH = {
    # Thermocouple in a water loop, one a second, no fault induced.
    "temperature": ("skab/anomaly-free_anomaly-free.csv.gz", "Thermocouple", "2020-02-08", "2020-02-09", 61),
    # Waterworks, one a minute; rows with an event are left out.
    "ph": ("gecco2018-drinking-water/gecco2018_train.csv.gz", "pH", "2016-08-05", "2016-10-01", 61),
    # Mountain stream, every 15 min, rows that the technician left alone.
    "practical_salinity": ("lro-logan-river/FranklinBasin2014.csv.gz", "cond", "2014-07-01", "2014-12-20", 5),
    "sump_level": ("lro-logan-river/TonyGrove2014.csv.gz", "stage", "2014-06-05", "2014-12-20", 5),
}
# Quantity -> file, column, first and last day: hourly means less five days' running median and the mean day.
SLOW = {
    "temperature": ("lro-logan-river/FranklinBasin2014.csv.gz", "temp", "2014-07-01", "2014-12-20"),
    "ph": ("casco-bay-acidification/focb_cms1_hourly.csv.gz", "ph_nbs", "2016-08-01", "2019-12-01"),
    "practical_salinity": (
        "casco-bay-acidification/focb_cms1_hourly.csv.gz",
        "sal_psu",
        "2016-08-01",
        "2019-12-01",
    ),
    "sump_level": ("lro-logan-river/TonyGrove2014.csv.gz", "stage", "2014-06-05", "2014-12-20"),
}
# Standard deviation of the slow wander of a probe in a tank, in its unit [own]: what a healthy probe's
# reading moves by over days beside the water.
WANDER = {"temperature": 0.03, "ph": 0.015, "practical_salinity": 0.06, "sump_level": 0.03}
# Glitches beyond this many standard deviations are as rare as in nature, but no larger.
_CLIP = 8.0


@dataclass(frozen=True, slots=True)
class Texture:
    """`high`: residuals sample by sample; `slow`: hourly wander. Both with standard deviation one."""

    source: str
    high: np.ndarray
    slow: np.ndarray


@cache
def textures() -> dict[str, Texture]:
    """Texture of each of the four basic quantities."""
    if not SHARED.is_dir():
        return dict.fromkeys(HIGH, _of_sea_surface())
    found = {}
    for name, (file, column, first, last, window) in HIGH.items():
        slow_file, slow_column, slow_first, slow_last = SLOW[name]
        high = _high(_clean(file, column, first, last).to_numpy(), window)
        slow = _slow(_clean(slow_file, slow_column, slow_first, slow_last))
        source = f"{file} {column} {first}..{last}; {slow_file} {slow_column} {slow_first}..{slow_last}"
        found[name] = Texture(source, high, slow)
    return found


def _of_sea_surface() -> Texture:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from bokeh_sampledata.sea_surface_temperature import sea_surface_temperature
    series = sea_surface_temperature["temperature"]
    return Texture("bokeh-sampledata sea surface temperature", _high(series.to_numpy(), 5), _slow(series))


def _clean(file: str, column: str, first: str, last: str) -> pd.Series:
    table = pd.read_csv(SHARED / file, low_memory=False)
    table.index = pd.DatetimeIndex(pd.to_datetime(table.pop("timestamp"), utc=True))
    values = table[column].where(table[column] > -900.0)
    if f"{column}_anom" in table:
        values = values.where(table[f"{column}_anom"] == 0)
    if "EVENT" in table:
        values = values.where(table["EVENT"] == 0)
    return values[first:last]


def _high(values: np.ndarray, window: int) -> np.ndarray:
    series = pd.Series(values).dropna()
    rest = (series - series.rolling(window, center=True).median()).dropna().to_numpy()
    # Glitches stay, but do not decide the size: the spread is that of the inner 98 %.
    low, high = np.quantile(rest, (0.01, 0.99))
    inner = rest[(rest >= low) & (rest <= high)]
    return np.clip(rest / inner.std(), -_CLIP, _CLIP)


def _slow(values: pd.Series) -> np.ndarray:
    hourly = values.resample("1h").mean().interpolate(limit=6)
    hourly = hourly - hourly.rolling(121, center=True, min_periods=60).median()
    hourly = (hourly - hourly.groupby(hourly.index.hour).transform("mean")).dropna()
    smooth = hourly.rolling(5, center=True).mean().dropna().to_numpy()
    return np.clip(smooth / smooth.std(), -3.0, 3.0)


def stretch(values: np.ndarray, count: int, rng: np.random.Generator) -> np.ndarray:
    """`count` values on end from a random place, forwards or backwards; folded where they do not suffice."""
    start = int(rng.integers(len(values)))
    rows = (start + np.arange(count)) % (2 * len(values))
    rows = np.where(rows < len(values), rows, 2 * len(values) - 1 - rows)
    taken = values[rows]
    return taken[::-1] if rng.random() < 0.5 else taken
