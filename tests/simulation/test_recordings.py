"""The recordings that ship: made again byte for byte, and annotated with what is truly in them."""

from __future__ import annotations

import csv
import tomllib
import warnings
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import pytest

from collector.payloads import state_value
from collector.recordings import read_csv, sea_surface
from collector.settings import load_configuration
from collector.simulation.recordings import CASES, Case, main, write
from collector.units import converter


@pytest.fixture(params=CASES, ids=lambda case: case.name)
def case(request: pytest.FixtureRequest) -> Case:
    return request.param


def test_recording_is_made_again_byte_for_byte(case: Case, tmp_path: Path) -> None:
    shipped = files("replay_data") / case.name
    for made in write(case, tmp_path):
        assert made.read_bytes() == (shipped / made.name).read_bytes()


def test_recording_has_five_series_at_every_instant_of_a_week(case: Case) -> None:
    text = (files("replay_data") / case.name / f"{case.name}.csv").read_text()
    rows = list(csv.reader(text.splitlines()))
    assert rows[0] == ["time", "temperature", "ph", "practical_salinity", "sump_level", "reservoir"]
    assert len(rows) == 1 + 7 * 24 * 12
    times = [row[0] for row in rows[1:]]
    assert times == sorted(times)
    assert times[0] == "2026-03-02T00:00:00Z"
    assert times[-1] == "2026-03-08T23:55:00Z"
    silent = [row for row in rows if "" in row]
    assert bool(silent) is (case.name == "probe_silent")


def test_annotation_names_the_failure(case: Case) -> None:
    folder = files("replay_data") / case.name
    found = tomllib.loads((folder / f"{case.name}.annotations.toml").read_text()).get("annotation", [])
    assert [one["cause"] for one in found] == ([] if case.name == "quiet" else [case.name])
    for one in found:
        assert one["from"] == case.failed
        assert one.get("to") == case.repaired
        assert one["series"] == list(case.series)


def test_the_readings_show_the_failed_heater() -> None:
    failed, repaired = datetime(2026, 3, 7, 2, 10, tzinfo=UTC), datetime(2026, 3, 7, 9, 0, tzinfo=UTC)
    folder = files("replay_data") / "heater_failed_off"
    rows = csv.DictReader((folder / "heater_failed_off.csv").read_text().splitlines())
    temperature = {datetime.fromisoformat(row["time"]): float(row["temperature"]) for row in rows}
    during = [value for at, value in temperature.items() if failed <= at < repaired]
    outside = [value for at, value in temperature.items() if at < failed or at.day == 8]
    # Near 0.3 degC/h over the six hours after the thermostat first asks for heat.
    assert min(during) == pytest.approx(25.35 - 6.2 * 0.32, abs=0.25)
    assert 25.2 < min(outside) <= max(outside) < 25.8


def test_making_them_again_says_what_was_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--folder", str(tmp_path)]) == 0
    written = capsys.readouterr().out.split()
    assert [Path(path).name for path in written] == [
        name for case in CASES for name in (f"{case.name}.csv", f"{case.name}.annotations.toml")
    ]


def test_the_real_year_says_where_it_comes_from_and_replays_as_it_is(tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from bokeh_sampledata.sea_surface_temperature import sea_surface_temperature
    path = tmp_path / "sea.csv"
    assert sea_surface.main(["--out", str(path)]) == 0
    assert path.read_text().startswith("# Sea surface temperature, degC, half-hourly: the series")
    recording = read_csv(path, load_configuration(None), converter, state_value)
    assert recording.skipped == ()
    assert recording.values.tolist() == pytest.approx(
        sea_surface_temperature["temperature"].tolist(), abs=1e-3
    )
