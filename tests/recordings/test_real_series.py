"""Real series made by others run through, and a year of open sea and a gauge that stood still are told apart.

They lie beside the checkout, with their provenance; the sea surface temperatures come from the package
bokeh-sampledata. What people rejected in series of this kind: `test_real_faults.py`.
"""

from __future__ import annotations

import tempfile
import warnings
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
    assert first == "2018-12-14T07:05"
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


MOST_JUDGED = 2_500
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
    # Hundred days of hourly readings: what comes behind them costs time and shows nothing else.
    few = slice(0, MOST_JUDGED)
    judged = Recording(recording.times_us[few], recording.values[few], recording.series[few])
    flags, _ = judge(judged, configuration)
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
    # The one hole of twelve hours, and once in a year a sea that is rougher than it was for three days.
    assert [(alarm.alarm.cause, rfc3339(alarm.at_us)[:13]) for alarm in alarms] == [
        ("probe_silent", "2016-07-08T07"),
        ("probe_noisy", "2016-09-02T02"),
    ]
