"""CSV recordings: both forms, every spelling of time, units, and an account of what was left out."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from collector.configuration import Configuration
from collector.errors import BrinebellError, ConfigError
from collector.payloads import state_value
from collector.recordings import Form, Recording, join, read_csv, with_derived
from collector.settings import load_configuration
from collector.units import converter

TEXT = """
[service]
folder = "unused"
[tanks.reef]
[tanks.reef.series.temperature]
quantity = "temperature"
[tanks.reef.series.conductivity]
quantity = "conductivity"
unit = "uS/cm"
[tanks.reef.series.practical_salinity]
quantity = "practical_salinity"
derived_from = "conductivity"
temperature_from = "temperature"
[tanks.reef.series.floor]
quantity = "contact"
[tanks.nursery]
[tanks.nursery.series.temperature]
quantity = "temperature"
unit = "degF"
[[sources]]
topic = "boards/reef/+"
format = "number"
tank = "reef"
series = "{1}"
[[sources]]
topic = "boards/nursery/+"
format = "number"
tank = "nursery"
series = "{1}"
"""
START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z


@pytest.fixture(scope="module")
def configuration(tmp_path_factory: pytest.TempPathFactory) -> Configuration:
    path = tmp_path_factory.mktemp("configuration") / "two.toml"
    path.write_text(TEXT)
    return load_configuration(path, {})


def read(folder: Path, configuration: Configuration, text: str) -> Recording:
    path = folder / "some.csv"
    path.write_text(text)
    return read_csv(path, configuration, converter, state_value)


def rows(recording: Recording, configuration: Configuration) -> list[tuple[int, str, float]]:
    names = [f"{one.tank}/{one.name}" for one in configuration.series]
    return [
        (int(time_us) - START_US, names[series], round(float(value), 6))
        for time_us, value, series in zip(recording.times_us, recording.values, recording.series, strict=True)
    ]


def test_a_long_file_is_read_in_order_of_time(tmp_path, configuration):
    text = (
        "time,series,value\n"
        "2026-03-02T00:00:10Z,reef/temperature,25.5\n"
        "2026-03-02T00:00:00Z,conductivity,53000\n"
        "2026-03-02T01:00:05+01:00,nursery/temperature,77\n"
    )
    assert rows(read(tmp_path, configuration, text), configuration) == [
        (0, "reef/conductivity", 53.0),
        (5_000_000, "nursery/temperature", 25.0),
        (10_000_000, "reef/temperature", 25.5),
    ]


def test_a_long_file_may_name_the_unit_in_each_row(tmp_path, configuration):
    text = (
        "time,series,value,unit\n"
        "2026-03-02T00:00:00Z,reef/temperature,77,degF\n"
        "2026-03-02T00:00:10Z,reef/temperature,25.5,degC\n"
        "2026-03-02T00:00:10Z,nursery/temperature,77,\n"
    )
    assert rows(read(tmp_path, configuration, text), configuration) == [
        (0, "reef/temperature", 25.0),
        (10_000_000, "reef/temperature", 25.5),
        (10_000_000, "nursery/temperature", 25.0),
    ]


def test_a_wide_file_may_name_units_in_its_header(tmp_path, configuration):
    text = "Timestamp,reef/temperature [degF],floor\n1772409600,77,open\n1772409601.5,,wet\n"
    assert rows(read(tmp_path, configuration, text), configuration) == [
        (0, "reef/temperature", 25.0),
        (0, "reef/floor", 0.0),
        (1_500_000, "reef/floor", 1.0),
    ]


def test_a_gzipped_file_is_read_like_any_other(tmp_path, configuration):
    path = tmp_path / "some.csv.gz"
    path.write_bytes(gzip.compress(b"time,floor\n2026-03-02T00:00:00Z,1\n"))
    recording = read_csv(path, configuration, converter, state_value)
    assert rows(recording, configuration) == [(0, "reef/floor", 1.0)]


def test_bad_rows_are_told_by_line_and_the_good_ones_are_kept(tmp_path, configuration):
    text = (
        "time,series,value\n"
        "2026-03-02T00:00:00Z,conductivity,53000\n"
        "2026-03-02 00:00:01,conductivity,53000\n"
        "2026-03-02T00:00:02Z,conductivity,many\n"
        "2026-03-02T00:00:03Z,depth,3\n"
        "2026-03-02T00:00:04Z,temperature,3\n"
        "2026-03-02T00:00:05Z,conductivity,\n"
    )
    recording = read(tmp_path, configuration, text)
    assert rows(recording, configuration) == [(0, "reef/conductivity", 53.0)]
    told = {(one.where.removeprefix(f"{tmp_path}/"), one.reason) for one in recording.skipped}
    assert told == {
        (
            "some.csv: line 3 ('2026-03-02 00:00:01')",
            "time is not RFC 3339 with an offset, nor Unix seconds",
        ),
        ("some.csv: line 4", "conductivity: not a number"),
        ("some.csv: series 'depth'", "the configuration has no such series"),
        (
            "some.csv: series 'temperature'",
            "several tanks have it; write reef/temperature or nursery/temperature",
        ),
    }


@pytest.mark.parametrize("time", ["1772409600000", "1e300", "-1e300", "253402300800"])
def test_unix_times_that_no_calendar_has_are_told_as_bad(tmp_path, configuration, time):
    """Milliseconds taken for seconds would be the year 58135, which no message can name."""
    text = f"time,series,value\n1772409600,reef/temperature,25.5\n{time},reef/temperature,25.6\n"
    recording = read(tmp_path, configuration, text)
    assert rows(recording, configuration) == [(0, "reef/temperature", 25.5)]
    assert [(one.where.rsplit("line ")[-1], one.count) for one in recording.skipped] == [
        (f"3 ('{time.replace('e', 'e+')}')", 1),
    ]


def test_the_last_second_of_the_calendar_is_a_time(tmp_path, configuration):
    text = "time,series,value\n253402300799,reef/temperature,25.5\n"
    assert len(read(tmp_path, configuration, text)) == 1


def test_a_unit_of_another_quantity_leaves_out_the_column_and_says_so(tmp_path, configuration):
    recording = read(tmp_path, configuration, "time,conductivity [degC]\n2026-03-02T00:00:00Z,25\n")
    assert len(recording) == 0
    assert [one.count for one in recording.skipped] == [1]


@pytest.mark.parametrize(
    ("text", "reason"),
    [("a,b\n1,2\n", "no time column among a, b"), ("", "cannot be read as CSV")],
)
def test_a_file_that_is_no_recording_is_refused(tmp_path, configuration, text, reason):
    with pytest.raises(BrinebellError, match=reason):
        read(tmp_path, configuration, text)


def test_blocks_cover_every_reading_once_and_no_more_than_a_day_each(tmp_path, configuration):
    lines = [f"{1772409600 + 7200 * step},reef/temperature,25\n" for step in range(40)]
    recording = read(tmp_path, configuration, "time,series,value\n" + "".join(lines))
    blocks = list(recording.blocks())
    np.testing.assert_array_equal(np.concatenate([b.times_us for b in blocks]), recording.times_us)
    assert all(int(b.times_us[-1] - b.times_us[0]) < 24 * 3600 * 1_000_000 for b in blocks)
    assert len(blocks) == 4


def test_a_series_that_the_file_lacks_is_derived_as_the_service_would(tmp_path, configuration):
    """53.071 mS/cm at 25 degC is practical salinity 35 (PSS-78; computed with gsw 3.6)."""
    text = "time,reef/temperature,conductivity\n2026-03-02T00:00:00Z,25.0,53071\n"
    recording = with_derived(read(tmp_path, configuration, text), configuration)
    assert rows(recording, configuration)[-1] == (
        0,
        "reef/practical_salinity",
        pytest.approx(35.0, abs=0.001),
    )


def test_joined_recordings_are_in_order_of_time(tmp_path, configuration):
    first = read(tmp_path, configuration, "time,floor\n2026-03-02T00:00:02Z,1\n")
    second = read(tmp_path, configuration, "time,floor\n2026-03-02T00:00:01Z,0\n")
    assert [value for *_, value in rows(join([first, second]), configuration)] == [0.0, 1.0]


@pytest.mark.parametrize(
    ("written", "form"),
    [
        ("02.03.2026 01:00", Form(zone="Europe/Lisbon", time_format="%d.%m.%Y %H:%M")),
        ("2026-03-02 01:00:00", Form(zone="Europe/Lisbon")),
        ("2026-03-02T02:00+01:00", Form(zone="Europe/Lisbon")),
        ("03/02/26 02:00:00 +0100", Form(time_format="%m/%d/%y %H:%M:%S %z")),
        ("1772413200", Form(zone="Europe/Lisbon")),
    ],
)
def test_times_are_read_as_they_are_declared(tmp_path, configuration, written, form):
    path = tmp_path / "some.csv"
    path.write_text(f"time,floor\n{written},1\n")
    recording = read_csv(path, configuration, converter, state_value, form)
    assert [one.reason for one in recording.skipped] == []
    assert rows(recording, configuration) == [(3_600_000_000, "reef/floor", 1.0)]


def test_an_hour_that_the_clock_shows_twice_is_the_first_and_one_that_it_skips_is_told(
    tmp_path, configuration
):
    """Lisbon, 2026: 01:00 WET to 02:00 WEST on 29 March, 02:00 WEST to 01:00 WET on 25 October."""
    path = tmp_path / "some.csv"
    path.write_text("time,floor\n2026-03-29 01:30,1\n2026-10-25 01:30,1\n2026-10-25 02:00,1\n")
    recording = read_csv(path, configuration, converter, state_value, Form(zone="Europe/Lisbon"))
    assert [(one.where, one.reason) for one in recording.skipped] == [
        (f"{path}: line 2 ('2026-03-29 01:30')", "time is not RFC 3339, nor Unix seconds")
    ]
    assert [row[0] + START_US for row in rows(recording, configuration)] == [
        1_792_888_200_000_000,  # 2026-10-25T00:30:00Z
        1_792_893_600_000_000,  # 2026-10-25T02:00:00Z
    ]


def test_units_separators_and_columns_are_read_as_they_are_declared(tmp_path, configuration):
    path = tmp_path / "some.csv"
    path.write_text("Datum;reef/temperature;floor\n\n# a remark\n1772409600;77,5;ja\n1772409610;x;1\n")
    form = Form(time_column="Datum", units={"reef/temperature": "degF"})
    recording = read_csv(path, configuration, converter, state_value, form)
    assert rows(recording, configuration) == [
        (0, "reef/temperature", 25.277778),
        (10_000_000, "reef/floor", 1.0),
    ]
    assert sorted(one.where.rsplit(": ")[-1] + " " + one.reason for one in recording.skipped) == [
        "line 4 floor: not a number",
        "line 5 temperature: not a number",
    ]


@pytest.mark.parametrize(
    ("form", "says"), [({"zone": "Atlantis"}, "IANA"), ({"time_format": "%H:%M"}, "year")]
)
def test_a_form_that_cannot_be_is_refused(form, says):
    with pytest.raises(ConfigError, match=says):
        Form(**form)
