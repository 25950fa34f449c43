"""Real series made by others: they run through, and stretches that people rejected are seen, hit by hit.

Estuary sondes with human QAQC flags (NOAA NERRS System-wide Monitoring Program), stream sondes with a
technician's corrections (Logan River Observatory), and other recordings that lie beside the checkout;
provenance stands with them. The sea surface temperatures come from the package bokeh-sampledata.
"""

from __future__ import annotations

import tempfile
import warnings
from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from collector.account import rfc3339
from collector.configuration import Configuration
from collector.payloads import state_value
from collector.recordings import Recording, read_csv
from collector.settings import load_configuration
from collector.units import converter
from rules import AlarmRaised, Engine, Flag

HERE = Path(__file__).parent
# Flags of a row that a person rejected while there was a value.
REJECTED_BY_A_PERSON = "<-3"
# Rejected rows closer than an hour belong to one stretch; fewer than four rows are single spikes.
JOIN_ROWS = 4
FEWEST_ROWS = 4
# An alarm speaks for a stretch from its start until an on-delay of an hour and a half behind its end.
GRACE = timedelta(minutes=90)


@pytest.fixture(scope="module")
def sondes() -> Configuration:
    return load_configuration(HERE / "sondes.toml", {})


def read(path: Path, configuration: Configuration) -> Recording:
    return read_csv(path, configuration, converter, state_value)


def judge(recording: Recording, configuration: Configuration) -> tuple[np.ndarray, list[AlarmRaised]]:
    engine = Engine(configuration.engine)
    flags: list[int] = []
    events = []
    for block in recording.blocks():
        outcome = engine.advance(block)
        flags += outcome.primary
        events += outcome.events
    assert len(flags) == len(recording)
    return np.array(flags), [event for event in events if isinstance(event, AlarmRaised)]


def table_of(path: Path) -> tuple[pd.DataFrame, pd.DatetimeIndex]:
    table = pd.read_csv(path, low_memory=False)
    return table, pd.DatetimeIndex(pd.to_datetime(table["timestamp"], utc=True))


def rejected_rows(table: pd.DataFrame, series: str) -> np.ndarray:
    if f"f_{series}" in table:
        by_a_person = table[f"f_{series}"].astype(str).str.startswith(REJECTED_BY_A_PERSON)
        return (by_a_person & table[series].notna()).to_numpy()
    if f"{series}_anom" in table:
        return (table[f"{series}_anom"] == 1).to_numpy()
    return np.zeros(len(table), bool)


def stretches(rows: np.ndarray, times: pd.DatetimeIndex) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    found: list[list[int]] = []
    for row in np.flatnonzero(rows):
        if found and row - found[-1][1] <= JOIN_ROWS:
            found[-1][1] = row
        else:
            found.append([row, row])
    return [(times[first], times[last]) for first, last in found if last - first + 1 >= FEWEST_ROWS]


def hits(path: Path, configuration: Configuration) -> tuple[list[tuple[str, ...]], dict[str, int]]:
    """Stretches that an alarm named, each with its first alarm; and alarms outside all stretches by cause.

    A silent probe is no verdict on what was measured, so it is counted with the others.
    """
    _, alarms = judge(read(path, configuration), configuration)
    table, times = table_of(path)
    caught: list[tuple[str, ...]] = []
    outside: dict[str, int] = {}
    for name in sorted({series.name for series in configuration.series} & set(table.columns)):
        mine = [alarm for alarm in alarms if alarm.alarm.series == name]
        at = pd.to_datetime([alarm.at_us for alarm in mine], unit="us", utc=True)
        speaks = np.zeros(len(mine), bool)
        for start, end in stretches(rejected_rows(table, name), times):
            inside = np.array((at >= start) & (at <= end + GRACE), bool)
            inside &= np.array([alarm.alarm.cause != "probe_silent" for alarm in mine], bool)
            speaks |= inside
            if inside.any():
                first = int(np.flatnonzero(inside)[0])
                shown = (f"{one:%Y-%m-%dT%H:%M}" for one in (start, end, at[first]))
                caught.append((name, *shown, mine[first].alarm.cause))
        for alarm, known in zip(mine, speaks, strict=True):
            if not known:
                cause = f"{name} {alarm.alarm.cause}"
                outside[cause] = outside.get(cause, 0) + 1
    return caught, outside


# From, to and first alarm of every rejected stretch that is seen, by the shipped defaults. A tide gauge
# is no sump: that a depth falls faster than water evaporates is no leak in a sea.
HITS: dict[str, list[tuple[str, ...]]] = {
    "lro-logan-river/BlackSmithFork2015.csv.gz": [
        ("cond", "2015-08-30T22:30", "2015-08-31T02:00", "2015-08-31T01:35", "probe_noisy"),
        ("cond", "2015-09-04T18:15", "2015-09-05T15:45", "2015-09-04T22:05", "probe_noisy"),
        ("cond", "2015-10-30T19:15", "2015-10-31T21:45", "2015-10-30T21:20", "probe_stuck"),
        ("ph", "2015-10-26T00:45", "2015-10-31T21:00", "2015-10-26T00:47", "probe_out_of_range"),
        ("temp", "2015-10-30T19:30", "2015-10-31T20:30", "2015-10-30T19:32", "probe_out_of_range"),
    ],
    "lro-logan-river/FranklinBasin2014.csv.gz": [
        ("ph", "2014-06-20T20:00", "2014-07-08T21:30", "2014-07-05T11:50", "probe_stuck"),
        ("temp", "2014-07-30T19:45", "2014-07-30T20:45", "2014-07-30T19:47", "probe_out_of_range"),
        ("temp", "2014-08-14T17:15", "2014-08-14T18:30", "2014-08-14T17:17", "probe_out_of_range"),
    ],
    "lro-logan-river/TonyGrove2014.csv.gz": [
        ("ph", "2014-12-21T03:45", "2015-01-01T06:45", "2014-12-21T20:05", "probe_noisy"),
        ("temp", "2014-07-08T18:30", "2014-07-08T19:45", "2014-07-08T18:32", "probe_out_of_range"),
    ],
    "lro-logan-river/TonyGrove2019.csv.gz": [
        ("cond", "2019-01-29T06:30", "2019-01-29T08:45", "2019-01-29T09:35", "probe_noisy"),
        ("cond", "2019-02-18T06:15", "2019-02-18T08:00", "2019-02-18T09:20", "probe_noisy"),
        ("cond", "2019-02-21T19:15", "2019-02-25T02:45", "2019-02-23T06:40", "under_limit"),
        ("cond", "2019-07-26T12:00", "2019-07-31T03:45", "2019-07-26T15:35", "probe_noisy"),
        ("temp", "2019-04-02T20:00", "2019-04-03T00:00", "2019-04-02T20:17", "probe_out_of_range"),
        ("temp", "2019-06-21T19:00", "2019-06-21T19:45", "2019-06-21T19:02", "probe_out_of_range"),
    ],
    "nerr-swmp/apacpwq_2012.csv.gz": [
        ("depth", "2012-06-06T18:45", "2012-06-14T16:00", "2012-06-12T20:20", "leak"),
        ("temp", "2012-06-06T18:45", "2012-06-14T16:00", "2012-06-06T18:47", "probe_out_of_range"),
    ],
    "nerr-swmp/apacpwq_2013.csv.gz": [
        ("depth", "2013-05-15T14:45", "2013-06-04T14:00", "2013-05-16T04:05", "leak"),
        ("depth", "2013-11-15T00:15", "2013-12-04T17:15", "2013-11-18T13:50", "leak"),
        ("ph", "2013-02-25T07:30", "2013-03-08T08:45", "2013-02-25T07:40", "over_limit"),
        ("ph", "2013-05-15T14:45", "2013-06-04T14:00", "2013-05-16T04:05", "probe_noisy"),
        ("ph", "2013-10-16T18:00", "2013-10-16T19:30", "2013-10-16T19:25", "under_limit"),
        ("ph", "2013-11-15T00:15", "2013-12-04T17:15", "2013-11-21T13:35", "probe_stuck"),
        ("sal", "2013-05-15T14:45", "2013-06-04T14:00", "2013-06-03T02:50", "probe_noisy"),
        ("sal", "2013-10-16T18:00", "2013-10-16T19:30", "2013-10-16T18:40", "probe_dry"),
        ("temp", "2013-10-16T18:00", "2013-10-16T19:30", "2013-10-16T19:10", "probe_dry"),
        ("temp", "2013-11-15T00:15", "2013-12-04T17:15", "2013-12-02T13:50", "probe_stuck"),
    ],
    "nerr-swmp/cbvgiwq_2010.csv.gz": [
        ("depth", "2010-05-16T12:30", "2010-05-25T14:15", "2010-05-18T03:50", "probe_noisy"),
        ("depth", "2010-08-26T09:30", "2010-08-31T14:00", "2010-08-26T20:50", "leak"),
        ("depth", "2010-09-23T01:45", "2010-10-05T14:15", "2010-09-23T05:35", "leak"),
        ("sal", "2010-08-26T09:30", "2010-08-31T14:00", "2010-08-26T16:50", "probe_noisy"),
    ],
    "nerr-swmp/cbvgiwq_2011.csv.gz": [
        ("depth", "2011-04-25T04:15", "2011-05-02T13:00", "2011-04-28T16:20", "leak"),
        ("depth", "2011-05-22T02:45", "2011-05-31T14:30", "2011-05-25T02:05", "leak"),
        ("depth", "2011-06-04T02:00", "2011-06-14T14:15", "2011-06-12T04:50", "leak"),
        ("depth", "2011-06-26T06:30", "2011-06-28T14:15", "2011-06-28T03:35", "leak"),
        ("depth", "2011-10-28T14:00", "2011-11-02T13:15", "2011-10-29T05:05", "probe_noisy"),
        ("depth", "2011-11-28T10:30", "2011-11-30T15:15", "2011-11-30T11:05", "leak"),
        ("ph", "2011-11-15T19:15", "2011-11-30T15:15", "2011-11-23T08:00", "probe_stuck"),
    ],
    "nerr-swmp/cbvgiwq_2012.csv.gz": [
        ("depth", "2012-05-20T06:45", "2012-05-22T14:30", "2012-05-21T07:35", "leak"),
        ("depth", "2012-06-17T20:45", "2012-06-19T14:30", "2012-06-19T07:20", "leak"),
        ("depth", "2012-06-27T01:15", "2012-07-03T12:45", "2012-06-28T13:50", "leak"),
        ("depth", "2012-07-23T03:45", "2012-07-25T15:00", "2012-07-23T22:50", "leak"),
        ("ph", "2012-01-01T05:00", "2012-01-05T15:00", "2012-01-04T12:35", "probe_noisy"),
        ("sal", "2012-07-23T03:45", "2012-07-25T15:00", "2012-07-25T16:05", "probe_noisy"),
    ],
    "nerr-swmp/gndblwq_2021-07_2021-08.csv.gz": [],
    "nerr-swmp/noczbwq_2011.csv.gz": [
        ("depth", "2011-03-10T23:45", "2011-03-11T01:45", "2011-03-11T00:20", "leak"),
        ("depth", "2011-07-26T16:15", "2011-07-26T18:00", "2011-07-26T17:50", "leak"),
        ("depth", "2011-08-25T19:30", "2011-08-29T18:00", "2011-08-26T00:50", "probe_stuck"),
        ("ph", "2011-01-01T05:00", "2011-01-11T19:00", "2011-01-03T11:35", "probe_noisy"),
        ("ph", "2011-04-06T11:30", "2011-04-06T12:15", "2011-04-06T12:25", "probe_dry"),
        ("ph", "2011-08-25T19:30", "2011-08-29T18:00", "2011-08-25T20:10", "under_limit"),
        ("sal", "2011-01-01T06:00", "2011-01-01T07:15", "2011-01-01T07:15", "under_limit"),
        ("sal", "2011-01-02T07:00", "2011-01-02T08:45", "2011-01-02T08:00", "under_limit"),
        ("sal", "2011-01-03T07:30", "2011-01-03T11:15", "2011-01-03T08:15", "under_limit"),
        ("sal", "2011-01-04T09:00", "2011-01-04T09:45", "2011-01-04T09:45", "under_limit"),
        ("sal", "2011-01-11T01:00", "2011-01-11T02:15", "2011-01-11T01:40", "probe_dry"),
        ("sal", "2011-01-13T02:45", "2011-01-13T05:45", "2011-01-13T03:10", "probe_dry"),
        ("sal", "2011-01-13T15:15", "2011-01-13T17:00", "2011-01-13T16:00", "under_limit"),
        ("sal", "2011-01-14T03:00", "2011-01-14T05:45", "2011-01-14T03:45", "under_limit"),
        ("sal", "2011-01-14T16:15", "2011-01-14T17:45", "2011-01-14T17:00", "under_limit"),
        ("sal", "2011-01-15T03:30", "2011-01-15T06:30", "2011-01-15T04:15", "under_limit"),
        ("sal", "2011-01-15T17:30", "2011-01-15T18:30", "2011-01-15T18:30", "under_limit"),
        ("sal", "2011-01-16T05:30", "2011-01-16T06:30", "2011-01-16T06:15", "under_limit"),
        ("sal", "2011-01-17T06:30", "2011-01-17T07:30", "2011-01-17T07:15", "under_limit"),
        ("sal", "2011-01-22T11:15", "2011-01-22T12:00", "2011-01-22T11:40", "probe_dry"),
        ("sal", "2011-01-25T01:15", "2011-01-25T02:30", "2011-01-25T01:40", "probe_dry"),
        ("sal", "2011-01-26T02:00", "2011-01-26T03:00", "2011-01-26T03:00", "under_limit"),
        ("sal", "2011-02-17T07:45", "2011-02-17T09:15", "2011-02-17T09:00", "under_limit"),
        ("sal", "2011-02-19T10:00", "2011-02-19T11:00", "2011-02-19T10:55", "probe_dry"),
        ("sal", "2011-02-22T23:45", "2011-02-23T02:30", "2011-02-23T01:15", "under_limit"),
        ("sal", "2011-03-01T18:45", "2011-03-01T19:30", "2011-03-01T19:10", "probe_dry"),
        ("sal", "2011-03-03T20:15", "2011-03-03T21:45", "2011-03-03T21:10", "probe_dry"),
        ("sal", "2011-03-07T11:00", "2011-03-07T12:00", "2011-03-07T11:45", "under_limit"),
        ("sal", "2011-03-14T15:45", "2011-03-14T18:00", "2011-03-14T16:40", "probe_dry"),
        ("sal", "2011-03-15T03:15", "2011-03-15T05:45", "2011-03-15T04:30", "under_limit"),
        ("sal", "2011-03-17T06:30", "2011-03-17T07:45", "2011-03-17T07:25", "probe_dry"),
        ("sal", "2011-03-19T20:30", "2011-03-19T22:30", "2011-03-19T21:45", "under_limit"),
        ("sal", "2011-03-20T22:00", "2011-03-20T23:15", "2011-03-20T23:00", "under_limit"),
        ("sal", "2011-04-06T10:45", "2011-04-06T12:30", "2011-04-06T11:40", "probe_dry"),
        ("sal", "2011-04-14T17:45", "2011-04-14T18:30", "2011-04-14T18:25", "probe_dry"),
        ("sal", "2011-04-21T23:15", "2011-04-22T01:30", "2011-04-21T23:55", "probe_dry"),
        ("sal", "2011-04-29T18:00", "2011-04-29T19:15", "2011-04-29T18:40", "probe_dry"),
        ("sal", "2011-04-30T18:45", "2011-04-30T20:30", "2011-04-30T20:00", "under_limit"),
        ("sal", "2011-08-25T19:30", "2011-08-29T18:00", "2011-08-25T19:55", "probe_dry"),
        ("temp", "2011-01-03T07:30", "2011-01-03T11:15", "2011-01-03T08:10", "probe_dry"),
        ("temp", "2011-04-22T00:00", "2011-04-22T01:15", "2011-04-22T00:25", "probe_dry"),
        ("temp", "2011-08-25T19:30", "2011-08-29T18:00", "2011-08-29T17:10", "probe_dry"),
    ],
}

# Alarms of a whole file outside its rejected stretches: error values of the loggers (7999, -9999)
# that lie in unlabelled rows, outages, and low tides that nobody labelled.
OUTSIDE: dict[str, dict[str, int]] = {
    "lro-logan-river/BlackSmithFork2015.csv.gz": {
        "cond probe_noisy": 5,
        "cond under_limit": 4,
        "ph probe_stuck": 1,
        "temp probe_dry": 2,
        "temp probe_noisy": 1,
        "temp probe_out_of_range": 6,
    },
    "lro-logan-river/FranklinBasin2014.csv.gz": {
        "cond probe_noisy": 5,
        "cond probe_stuck": 1,
        "cond under_limit": 1,
        "ph probe_stuck": 1,
        "temp probe_out_of_range": 8,
        "temp probe_stuck": 2,
    },
    "lro-logan-river/TonyGrove2014.csv.gz": {
        "cond under_limit": 1,
        "ph probe_out_of_range": 1,
        "ph probe_stuck": 1,
        "temp probe_noisy": 1,
        "temp probe_out_of_range": 9,
        "temp probe_stuck": 1,
    },
    "lro-logan-river/TonyGrove2019.csv.gz": {
        "cond probe_noisy": 1,
        "cond probe_stuck": 1,
        "cond under_limit": 1,
        "ph probe_out_of_range": 1,
        "temp mains_power_lost": 1,
        "temp probe_dry": 1,
        "temp probe_noisy": 5,
        "temp probe_out_of_range": 7,
        "temp probe_stuck": 13,
    },
    "nerr-swmp/apacpwq_2012.csv.gz": {
        "depth leak": 121,
        "depth probe_noisy": 2,
        "ph probe_noisy": 2,
        "ph probe_stuck": 3,
        "sal probe_stuck": 2,
        "sal probe_noisy": 6,
        "temp mains_power_lost": 9,
        "temp probe_stuck": 2,
        "temp probe_noisy": 3,
    },
    "nerr-swmp/apacpwq_2013.csv.gz": {
        "depth leak": 97,
        "depth probe_noisy": 2,
        "depth probe_silent": 2,
        "ph probe_noisy": 2,
        "ph probe_silent": 2,
        "ph probe_stuck": 11,
        "sal probe_dry": 1,
        "sal probe_noisy": 11,
        "sal probe_silent": 2,
        "sal probe_stuck": 2,
        "sal under_limit": 3,
        "temp mains_power_lost": 8,
        "temp probe_silent": 2,
        "temp probe_stuck": 1,
    },
    "nerr-swmp/cbvgiwq_2010.csv.gz": {
        "depth leak": 74,
        "depth probe_noisy": 5,
        "ph probe_stuck": 3,
        "sal probe_stuck": 7,
        "sal probe_noisy": 1,
        "temp probe_noisy": 2,
        "temp probe_dry": 1,
        "temp probe_stuck": 1,
    },
    "nerr-swmp/cbvgiwq_2011.csv.gz": {
        "depth leak": 80,
        "depth probe_noisy": 9,
        "depth probe_silent": 2,
        "ph probe_stuck": 9,
        "ph probe_silent": 2,
        "sal probe_stuck": 2,
        "sal probe_noisy": 3,
        "sal probe_silent": 2,
        "temp probe_noisy": 2,
        "temp probe_dry": 2,
        "temp mains_power_lost": 2,
        "temp probe_silent": 2,
    },
    "nerr-swmp/cbvgiwq_2012.csv.gz": {
        "depth leak": 60,
        "depth probe_stuck": 1,
        "depth probe_noisy": 11,
        "ph probe_stuck": 4,
        "sal probe_stuck": 8,
        "sal probe_noisy": 4,
        "temp probe_noisy": 3,
        "temp probe_dry": 1,
    },
    "nerr-swmp/gndblwq_2021-07_2021-08.csv.gz": {
        "depth leak": 18,
        "sal probe_noisy": 1,
        "sal probe_stuck": 1,
    },
    "nerr-swmp/noczbwq_2011.csv.gz": {
        "depth probe_silent": 8,
        "depth leak": 1,
        "ph probe_silent": 8,
        "sal probe_silent": 8,
        "sal probe_noisy": 9,
        "sal probe_dry": 1,
        "sal probe_stuck": 1,
        "temp probe_dry": 12,
        "temp mains_power_lost": 6,
        "temp probe_silent": 8,
        "temp probe_stuck": 2,
        "temp probe_noisy": 5,
    },
}


# Series -> stretches caught, and stretches that people rejected, over all files. Of 399 depths, 366 are
# sensors out of the water at low tide (SOW, GOW with CLT) and 25 follow a failed conductivity cell (SCF).
CAUGHT_OF_REJECTED = {"temp": (12, 25), "sal": (37, 74), "ph": (12, 49), "depth": (19, 399), "cond": (7, 32)}


@pytest.mark.shared_data
def test_what_is_missed_is_counted_beside_what_is_caught(shared_data: Path):
    found = dict.fromkeys(CAUGHT_OF_REJECTED, (0, 0))
    for name, caught in HITS.items():
        table, times = table_of(shared_data / name)
        for series in found.keys() & set(table.columns):
            hit, rejected = found[series]
            hit += sum(one[0] == series for one in caught)
            found[series] = (hit, rejected + len(stretches(rejected_rows(table, series), times)))
    assert found == CAUGHT_OF_REJECTED


@pytest.mark.shared_data
@pytest.mark.parametrize("name", sorted(HITS))
def test_rejected_stretches_are_seen_hit_by_hit(shared_data: Path, sondes: Configuration, name: str):
    caught, outside = hits(shared_data / name, sondes)
    assert caught == HITS[name]
    assert outside == OUTSIDE[name]


@pytest.mark.shared_data
def test_one_gauge_that_stood_still_for_five_months_is_stuck_from_the_first_night(shared_data: Path):
    """3503 hourly samples of exactly 1.0942 m, 2018-12-13T20:00Z to 2019-05-13T18:00Z (its provenance).

    The gauge stands still again for days in the two weeks behind it, which nobody has labelled.
    """
    configuration = configuration_of("sea_surface_height_above_sea_level", "water_level", "m", "36 h")
    path = shared_data / "ioos-qc-examples" / "water_level_example.csv"
    flags, alarms = judge(read(path, configuration), configuration)
    stuck = [alarm for alarm in alarms if alarm.alarm.cause == "probe_stuck"]
    first, *later = [rfc3339(alarm.at_us)[:16] for alarm in stuck]
    assert first == "2018-12-14T04:05"
    assert all(instant > "2019-05-13T18:00" for instant in later)
    assert np.count_nonzero(flags == Flag.FAIL) >= 3503 - 36


def configuration_of(name: str, quantity: str, unit: str, fail_after: str = "9 days") -> Configuration:
    """One series of its own with the tests of any probe, for files that name it otherwise."""
    tolerance = {
        "water_level": "0.01 cm",
        "temperature": "0.0005 degC",
        "conductivity": "0.0001 mS/cm",
    }.get(quantity, "0.0001")
    text = f"""
[service]
folder = "unused"
[page]
enabled = false
[tanks.site]
time_zone = "UTC"
equipment = []
[tanks.site.series.{name}]
quantity = "{quantity}"
unit = "{unit}"
flat_line = {{ tolerance = "{tolerance}", suspect_after = "24 h", fail_after = "{fail_after}" }}
gap = "6 h"
[[sources]]
topic = "site/+"
format = "number"
tank = "site"
series = "{{1}}"
"""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "site.toml"
        path.write_text(text)
        return load_configuration(path, {})


OTHERS = [
    ("casco-bay-acidification/focb_cms1_hourly.csv.gz", "temp_degc", "temperature", "degC"),
    ("casco-bay-acidification/focb_cms1_hourly.csv.gz", "sal_psu", "practical_salinity", "psu"),
    ("casco-bay-acidification/focb_cms1_hourly.csv.gz", "ph_nbs", "ph", "pH"),
    ("gecco2018-drinking-water/gecco2018_train.csv.gz", "tp", "temperature", "degC"),
    ("gecco2018-drinking-water/gecco2018_train.csv.gz", "ph", "ph", "pH"),
    ("gecco2018-drinking-water/gecco2018_train.csv.gz", "leit", "conductivity", "uS/cm"),
    ("ioos-qc-examples/ooi_ce01issm_pco2w.csv", "thermistor_temp_degc", "temperature", "degC"),
    ("lbnl-fdd-ahu/szvav.csv.gz", "supply_air_temperature", "temperature", "degF"),
    ("nab/realKnownCause/ambient_temperature_system_failure.csv", "value", "temperature", "degF"),
    ("oddwater-qld-rivers/sandy.csv", "level", "water_level", "m"),
    ("oddwater-qld-rivers/sandy.csv", "cond", "conductivity", "uS/cm"),
    ("skab/other_1.csv.gz", "thermocouple", "temperature", "degC"),
    ("skab/anomaly-free_anomaly-free.csv.gz", "thermocouple", "temperature", "degC"),
]


@pytest.mark.shared_data
@pytest.mark.parametrize(("name", "series", "quantity", "unit"), OTHERS)
def test_other_recordings_run_through(shared_data: Path, name: str, series: str, quantity: str, unit: str):
    configuration = configuration_of(series, quantity, unit)
    path = shared_data / name
    recording = read(path, configuration)
    table = pd.read_csv(path, low_memory=False)
    column = next(column for column in table.columns if column.lower() == series)
    assert len(recording) == table[column].notna().sum()
    assert not [one for one in recording.skipped if "not a number" in one.reason or "time is" in one.reason]
    flags, _ = judge(recording, configuration)
    # No reading is missing, and most of a real recording passes.
    assert np.count_nonzero(flags == Flag.PASS) > 0.9 * len(flags)


def test_sea_surface_temperatures_of_a_registry_package_run_through(tmp_path: Path):
    """Half-hourly temperatures of 2016-02 to 2017-03 from bokeh-sampledata: a year with no probe fault."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from bokeh_sampledata.sea_surface_temperature import sea_surface_temperature
    path = tmp_path / "sea_surface.csv"
    sea_surface_temperature.to_csv(path)
    configuration = configuration_of("temperature", "temperature", "degC")
    recording = read(path, configuration)
    assert len(recording) == len(sea_surface_temperature) == 19226
    flags, alarms = judge(recording, configuration)
    assert np.count_nonzero(flags == Flag.PASS) > 0.99 * len(flags)
    # The one hole of twelve hours, and six times in a year a sea that is rougher than it was for three days.
    assert [(alarm.alarm.cause, rfc3339(alarm.at_us)[:13]) for alarm in alarms] == [
        ("probe_silent", "2016-07-08T07"),
        ("probe_noisy", "2016-07-23T20"),
        ("probe_noisy", "2016-08-15T21"),
        ("probe_noisy", "2016-09-01T22"),
        ("probe_noisy", "2016-10-03T20"),
        ("probe_noisy", "2016-10-07T23"),
        ("probe_noisy", "2017-02-16T07"),
    ]
