"""The yearly wave: what it finds in a wave that is known, and in the sea."""

from __future__ import annotations

import gzip
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from rules.baseline.season import YEAR_US, fit_season
from rules.local_time import DAY_US

END_US = 1_776_000_000_000_000


def days(number: int) -> np.ndarray:
    return END_US - np.arange(number, dtype=np.int64)[::-1] * DAY_US


def test_a_wave_that_is_known_is_found_through_noise_and_outliers():
    times = days(730)
    phase = 2 * np.pi * (times % YEAR_US) / YEAR_US
    rng = np.random.default_rng(4)
    levels = 24.0 + 1.5 * np.cos(phase) - 0.8 * np.sin(phase) + rng.normal(0, 0.2, len(times))
    levels[rng.choice(len(times), 30, replace=False)] += 10.0
    season = fit_season(times, levels)
    assert season is not None
    assert (season.cosine, season.sine) == pytest.approx((1.5, -0.8), abs=0.05)


@pytest.mark.parametrize(("known", "is_enough"), [(0.7, False), (0.85, True)])
def test_a_year_with_months_missing_is_not_enough(known, is_enough):
    times = days(500)
    levels = 3.0 * np.cos(2 * np.pi * (times % YEAR_US) / YEAR_US)
    levels[100 : 100 + round(500 * (1 - known))] = np.nan
    assert (fit_season(times, levels) is not None) is is_enough


def test_nothing_and_a_constant_have_no_season():
    assert fit_season(days(0), np.empty(0)) is None
    assert fit_season(days(400), np.full(400, np.nan)) is None
    assert fit_season(days(400), np.full(400, 25.0)) is None


def test_the_sea_has_a_season_of_its_own_size():
    """Sea surface temperature that comes with a general-purpose plotting library, as its users get it.

    From winter 2016 to the next it spans some 4 to 22 degC: an amplitude between 7 and 10 degC.
    """
    spec = find_spec("bokeh_sampledata")
    if spec is None or spec.origin is None:
        pytest.skip("skipped: no bokeh_sampledata")
    path = Path(spec.origin).parent / "_data" / "sea_surface_temperature.csv.gz"
    by_day: dict[int, list[float]] = {}
    with gzip.open(path, "rt") as lines:
        next(lines)
        for line in lines:
            at, value = line.split(",")
            day = int(datetime.fromisoformat(at.replace("Z", "+00:00")).timestamp() // 86400)
            by_day.setdefault(day, []).append(float(value))
    times = np.array([day * DAY_US + DAY_US // 2 for day in by_day], np.int64)
    season = fit_season(times, np.array([np.median(values) for values in by_day.values()]))
    assert season is not None
    assert 7.0 < float(np.hypot(season.cosine, season.sine)) < 10.0
