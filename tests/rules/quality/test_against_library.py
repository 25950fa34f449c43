"""Flag for flag the same as ioos_qc 3.0.0, but for the rows of `differences`: made and recorded series."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rules import (
    HOUR_US,
    MICROSECONDS,
    AttenuatedSignalLimits,
    ClimatologyLimits,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    Season,
    SpikeLimits,
)
from tests.examples import few
from tests.rules.quality.differences import ROWS, compared, unexplained
from tests.rules.quality.library import MINUTE, START_US, Case, ours

SECOND = MICROSECONDS
DAY_US = 24 * HOUR_US
NAN, INF = float("nan"), float("inf")

# -- made series --------------------------------------------------------------------------------------

# Multiples of 1/64 keep sums and differences exact, so that no test hangs on how something was rounded.
level = st.integers(-640, 640).map(lambda number: number / 64)
small = st.integers(-6, 6).map(lambda number: number / 64)
hole = st.sampled_from([NAN, NAN, INF, -INF])


@st.composite
def made(draw: st.DrawFn) -> list[float]:
    """Stretches that stand still, wander, jump, or are missing."""
    values: list[float] = []
    for _ in range(draw(st.integers(1, 6))):
        here = draw(level)
        what = draw(st.sampled_from(["still", "wander", "jump", "hole"]))
        if what == "still":
            values += [here] * draw(st.integers(1, 9))
        elif what == "wander":
            values += [here + move for move in draw(st.lists(small, min_size=1, max_size=9))]
        elif what == "jump":
            values += draw(st.lists(level, min_size=1, max_size=4))
        else:
            values += draw(st.lists(hole, min_size=1, max_size=2))
    return values


@st.composite
def instants(draw: st.DrawFn, count: int) -> list[int]:
    """Mostly even, sometimes with long silences or at any interval."""
    steps = [draw(st.sampled_from([30, 60, 64])) * SECOND] * count
    kind = draw(st.sampled_from(["even", "even", "gaps", "any"]))
    if kind == "gaps":
        for place in draw(st.lists(st.integers(0, count - 1), max_size=3)):
            steps[place] = draw(st.sampled_from([10 * MINUTE, HOUR_US, 7 * HOUR_US + SECOND]))
    elif kind == "any":
        steps = draw(st.lists(st.integers(1, 400 * 4), min_size=count, max_size=count))
        steps = [step * SECOND // 4 for step in steps]
    return [START_US + sum(steps[:place]) for place in range(count)]


WEEK_US = 7 * DAY_US
SPAN = st.tuples(level, level).filter(lambda pair: pair[0] != pair[1]).map(sorted)


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    period, lowest, highest = draw(
        st.sampled_from(
            [
                ("month", 1, 12),
                ("day_of_year", 1, 366),
                ("week", 1, 53),
                ("weekday", 0, 6),
                ("hour", 0, 23),
                ("quarter", 1, 4),
                ("year", 2025, 2028),
                ("day", 1, 31),
                ("instant", START_US, START_US + 400 * MINUTE),
            ]
        )
    )
    bounds = draw(st.tuples(st.integers(lowest, highest), st.integers(lowest, highest)))
    first, last = sorted(bounds) if period in ("year", "instant") else bounds
    fail = draw(st.one_of(st.just((-INF, INF)), SPAN))
    return Season(period, first, last, *draw(SPAN), *fail)


LIMITS = {
    "gross_range": st.sampled_from(
        [GrossRangeLimits(-5, 5), GrossRangeLimits(-5, 5, -2, 2), GrossRangeLimits(-5, 5, -5, 5)]
    ),
    "spike": st.builds(
        SpikeLimits,
        st.sampled_from([None, 0.0, 0.0625, 0.5, 2.0]),
        st.sampled_from([None, 0.0, 1.0, 4.0]),
        st.sampled_from(["average", "differential"]),
    ),
    # In units per second powers of two, so that products with the intervals are exact.
    "rate_of_change": st.sampled_from([225.0, 3600.0, 28.125]).map(RateOfChangeLimits),
    "flat_line": st.builds(
        FlatLineLimits,
        st.sampled_from([0.0, 0.0625, 0.02, 0.25]),
        st.sampled_from([20, 60, 120, 200, 240]).map(lambda seconds: seconds * SECOND),
        st.sampled_from([300, 480, 500]).map(lambda seconds: seconds * SECOND),
    ),
    "climatology": st.lists(seasons(), min_size=1, max_size=3).map(
        lambda found: ClimatologyLimits(None, tuple(found))
    ),
    # No square root of these is met by the deviation of a few multiples of 1/64.
    "attenuated_signal": st.builds(
        AttenuatedSignalLimits,
        st.sampled_from([60, 300, 600, 3600]).map(lambda seconds: seconds * SECOND),
        st.sampled_from([0.7310585, 0.2689414]),
        st.sampled_from([None, 0.0886579]),
        st.sampled_from(["range", "deviation"]),
        st.integers(1, 5),
    ),
    "gap": st.sampled_from([HOUR_US, 5 * MINUTE]).map(GapLimits),
}
GAPS = st.sampled_from([None, 9 * MINUTE, HOUR_US])


@st.composite
def cases(draw: st.DrawFn, test: str) -> Case:
    values = draw(made())
    if test == "gap":
        # Their test knows times alone, and none of a single one.
        values = [0.0] * max(2, len(values))
    limits = draw(LIMITS[test])
    gap_us = limits.fail_after_us if test == "gap" else draw(GAPS)
    return Case(test, limits, values, draw(instants(len(values))), gap_us)


@pytest.mark.parametrize("test", LIMITS)
@settings(max_examples=few(150))
@given(data=st.data())
def test_made_series_have_their_flags(test: str, data: st.DataObject):
    case = data.draw(cases(test))
    if test == "flat_line" and len(case.values) > 1:
        # Theirs has no answer below a second: see `test_differences`.
        assume(np.median(np.diff(case.times)) >= SECOND)
    assert unexplained(case, ROWS) == []


# -- recorded series ----------------------------------------------------------------------------------

SPIKE_BOTH = [
    SpikeLimits(*limits, method)
    for limits in ((0.85, 2.55), (0.15, None))
    for method in ("average", "differential")
]
# Limits off the grid of the values, so that no decimal is rounded onto one. 15 minutes between readings
# of the sondes, an hour at the mooring and the gauge.
SONDE = {
    "gross_range": [GrossRangeLimits(-0.5, 35.05, 1.05, 30.05)],
    "spike": [
        SpikeLimits(*limits, method)
        for limits in ((0.85, 2.55), (0.15, None))
        for method in ("average", "differential")
    ],
    "rate_of_change": [RateOfChangeLimits(3.7), RateOfChangeLimits(0.7)],
    "flat_line": [
        FlatLineLimits(0.05, 4 * HOUR_US, 12 * HOUR_US),
        FlatLineLimits(0.25, 2 * HOUR_US, 3 * HOUR_US),
    ],
    "climatology": [
        ClimatologyLimits(
            None,
            (
                Season("month", 1, 12, 7.05, 34.05),
                Season("month", 5, 9, 7.55, 32.05, 0.5, 40.5),
                Season("hour", 8, 20, 6.95, 33.05),
            ),
        ),
        ClimatologyLimits(
            None, (Season("week", 10, 30, 15.05, 31.05), Season("day_of_year", 40, 80, 7.95, 25.05))
        ),
    ],
    "attenuated_signal": [
        AttenuatedSignalLimits(12 * HOUR_US, 0.35, 0.15, "range", 4),
        AttenuatedSignalLimits(12 * HOUR_US, 0.1234, 0.0512, "deviation", 4),
    ],
    "gap": [GapLimits(HOUR_US)],
}
SLOW = SONDE | {"flat_line": [FlatLineLimits(0.00005, 6 * HOUR_US, 24 * HOUR_US)]}
RECORDED = [
    *[("nerr-swmp/apacpwq_2012.csv.gz", column, SONDE) for column in ("temp", "sal", "ph", "depth")],
    *[("nerr-swmp/noczbwq_2011.csv.gz", column, SONDE) for column in ("temp", "sal")],
    ("nerr-swmp/cbvgiwq_2011.csv.gz", "sal", SONDE),
    ("nerr-swmp/gndblwq_2021-07_2021-08.csv.gz", "ph", SONDE),
    ("lro-logan-river/TonyGrove2019.csv.gz", "temp", SONDE),
    ("casco-bay-acidification/focb_cms1_hourly.csv.gz", "ph_nbs", SLOW),
    ("ioos-qc-examples/water_level_example.csv", "sea_surface_height_above_sea_level", SLOW),
    ("ioos-qc-examples/ooi_ce01issm_pco2w.csv", "thermistor_temp_degC", SLOW),
    ("gecco2018-drinking-water/gecco2018_train.csv.gz", "pH", SONDE),
    ("skab/anomaly-free_anomaly-free.csv.gz", "Temperature", SONDE),
]


# Their flat line test looks at each reading's past anew.
MOST = {"flat_line": 12_000}


@cache
def recorded(path: Path, column: str) -> tuple[list[float], list[int]]:
    """A column as it is, missing values among it; instants that do not increase are left out."""
    table = pd.read_csv(path, usecols=["timestamp", column], low_memory=False)
    times = pd.to_datetime(table["timestamp"], utc=True).to_numpy("M8[us]").astype(np.int64)
    values = pd.to_numeric(table[column], errors="coerce").to_numpy(float)
    keep = np.concatenate(([True], times[1:] > np.maximum.accumulate(times)[:-1]))[: len(times)]
    # A year of quarter-hours is plenty; minutes and seconds are many more.
    keep = np.flatnonzero(keep)[:36_000]
    return values[keep].tolist(), times[keep].tolist()


@pytest.mark.shared_data
@pytest.mark.parametrize(
    ("file", "column", "limits"), RECORDED, ids=[f"{f.split('/')[-1]}-{c}" for f, c, _ in RECORDED]
)
@pytest.mark.parametrize("test", SONDE)
def test_recorded_series_have_their_flags(shared_data: Path, test: str, file: str, column: str, limits):
    values, times_us = (one[: MOST.get(test)] for one in recorded(shared_data / file, column))
    if test == "gap":
        values = [0.0] * len(values)
    for one in limits[test]:
        # As it stands, without silences: theirs does not know them.
        case = Case(test, one, values, times_us, one.fail_after_us if test == "gap" else None)
        assert unexplained(case, ROWS) == []


@pytest.mark.shared_data
@pytest.mark.parametrize("test", SONDE)
def test_the_comparison_on_recorded_series_says_something(shared_data: Path, test: str):
    """Every verdict occurs, and rows cover little."""
    seen: set[int] = set()
    for column in ("temp", "sal"):
        file = shared_data / "nerr-swmp/noczbwq_2011.csv.gz"
        values, times_us = (one[: MOST.get(test)] for one in recorded(file, column))
        for one in SONDE[test]:
            gap_us = one.fail_after_us if test == "gap" else None
            case = Case(test, one, [0.0] * len(values) if test == "gap" else values, times_us, gap_us)
            assert compared(case) > 0.6, one
            seen |= set(ours(case))
    assert seen >= {"rate_of_change": {1, 3, 9}, "gap": {1}}.get(test, {1, 3, 4, 9}), seen
