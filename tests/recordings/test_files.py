"""Files by what their names say they are: line protocol, Parquet, folders, and what is none of them."""

from __future__ import annotations

import gzip
from pathlib import Path

import pandas as pd
import pytest

from collector.configuration import Configuration
from collector.errors import BrinebellError
from collector.payloads import state_value
from collector.recordings import Form, Recording, read_files
from collector.settings import load_configuration
from collector.units import converter

TEXT = """
[service]
folder = "unused"
[tanks.reef]
[tanks.reef.series.temperature]
quantity = "temperature"
[tanks.reef.series.floor]
quantity = "contact"
[[sources]]
topic = "boards/reef/+"
format = "number"
tank = "reef"
series = "{1}"
"""
START_S = 1_772_409_600  # 2026-03-02T00:00:00Z


@pytest.fixture(scope="module")
def configuration(tmp_path_factory: pytest.TempPathFactory) -> Configuration:
    path = tmp_path_factory.mktemp("configuration") / "one.toml"
    path.write_text(TEXT)
    return load_configuration(path, {})


def read(configuration: Configuration, *paths: Path, form: Form = Form()) -> Recording:  # noqa: B008
    return read_files(paths, configuration, converter, state_value, form)


def rows(recording: Recording) -> list[tuple[float, int, float]]:
    return [
        (time_us / 1e6 - START_S, series, round(value, 6))
        for time_us, series, value in zip(
            recording.times_us.tolist(), recording.series.tolist(), recording.values.tolist(), strict=True
        )
    ]


@pytest.mark.parametrize("digits", [0, 3, 6, 9], ids=["s", "ms", "us", "ns"])
def test_line_protocol_names_series_by_tag_field_or_measurement(tmp_path, configuration, digits):
    def stamp(seconds: float) -> int:
        return round((START_S + seconds) * 10**digits)

    path = tmp_path / "export.lp"
    path.write_text(
        f"reading,tank=reef,series=temperature value=25.5 {stamp(0)}\n"
        f"# a remark\n"
        f"sump temperature=25.25,floor=true {stamp(10)}\n"
        f"temperature value=25i {stamp(20)}\n"
    )
    recording = read(configuration, path)
    assert recording.skipped == ()
    assert rows(recording) == [(0, 0, 25.5), (10, 0, 25.25), (10, 1, 1.0), (20, 0, 25.0)]


def test_lines_that_are_no_points_are_told_by_number_and_the_others_kept(tmp_path, configuration):
    path = tmp_path / "export.lp.gz"
    lines = (f"temperature value=25.5 {START_S}", "temperature", "temperature value=25.6")
    path.write_bytes(gzip.compress("\n".join([*lines, f"temperature value=x {START_S}"]).encode()))
    recording = read(configuration, path)
    assert rows(recording) == [(0, 0, 25.5)]
    told = {one.where.removeprefix(f"{path}: ") for one in recording.skipped}
    assert told == {"line 2", "line 3", "line 4"}
    assert all(one.reason for one in recording.skipped)


@pytest.mark.parametrize("has_index", [False, True])
def test_parquet_keeps_its_types(tmp_path, configuration, has_index):
    times = pd.to_datetime([START_S, START_S + 10], unit="s", utc=True)
    table = pd.DataFrame({"time": times, "temperature [degF]": [77.0, None], "floor": [True, False]})
    path = tmp_path / "week.parquet"
    (table.set_index("time") if has_index else table).to_parquet(path)
    recording = read(configuration, path)
    assert recording.skipped == ()
    assert rows(recording) == [(0, 0, 25.0), (0, 1, 1.0), (10, 1, 0.0)]


def test_parquet_times_without_a_zone_are_those_of_the_declared_wall(tmp_path, configuration):
    path = tmp_path / "week.parquet"
    pd.DataFrame({"time": pd.to_datetime(["2026-03-02 01:00"]), "floor": [1]}).to_parquet(path)
    assert rows(read(configuration, path, form=Form(zone="Europe/Berlin"))) == [(0, 1, 1.0)]
    assert [one.count for one in read(configuration, path).skipped] == [1]


def test_a_folder_is_all_its_recordings_in_order_of_time(tmp_path, configuration):
    (tmp_path / "b.csv").write_text(f"time,floor\n{START_S},0\n")
    (tmp_path / "a.lp").write_text(f"temperature value=25.5 {START_S + 10}\n")
    (tmp_path / "notes.md").write_text("nothing")
    assert rows(read(configuration, tmp_path)) == [(0, 1, 0.0), (10, 0, 25.5)]


def test_what_cannot_be_read_is_named_with_what_can(tmp_path, configuration):
    (tmp_path / "empty").mkdir()
    for folder in (tmp_path, tmp_path / "empty"):
        (folder / "notes.md").write_text("nothing")
    (tmp_path / "broken.parquet").write_text("nothing")
    for path, says in (
        (tmp_path / "empty", "holds no recording: files that end in .csv"),
        (tmp_path / "none.csv", "there is no such file"),
        (tmp_path / "notes.md", "it must end in .csv"),
        (tmp_path / "broken.parquet", "Parquet"),
    ):
        with pytest.raises(BrinebellError, match=says):
            read(configuration, path)
