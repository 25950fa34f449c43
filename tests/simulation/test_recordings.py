"""The recordings that ship: made again byte for byte, and annotated with what is truly in them."""

from __future__ import annotations

import csv
import tomllib
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import pytest

from collector.simulation.recordings import CASES, Case, main, write


@pytest.fixture(params=CASES, ids=lambda case: case.name)
def case(request: pytest.FixtureRequest) -> Case:
    return request.param


def test_recording_is_made_again_byte_for_byte(case: Case, tmp_path: Path) -> None:
    shipped = files("replay_data") / case.name
    for made in write(case, tmp_path):
        assert made.read_bytes() == (shipped / made.name).read_bytes()


def test_recording_has_four_series_at_every_instant_of_a_week(case: Case) -> None:
    text = (files("replay_data") / case.name / f"{case.name}.csv").read_text()
    rows = list(csv.reader(text.splitlines()))
    assert rows[0] == ["time", "series", "value"]
    assert len(rows) == 1 + 4 * 7 * 24 * 12
    times = [row[0] for row in rows[1:]]
    assert times == sorted(times)
    assert times[0] == "2026-03-02T00:00:00Z"
    assert times[-1] == "2026-03-08T23:55:00Z"
    assert {row[1] for row in rows[1:]} == {"temperature", "ph", "practical_salinity", "reservoir"}


def test_annotation_names_the_failure_and_the_readings_show_it(case: Case) -> None:
    folder = files("replay_data") / case.name
    (annotation,) = tomllib.loads((folder / f"{case.name}.annotations.toml").read_text())["annotation"]
    assert set(annotation) == {"from", "to", "cause", "tank", "series", "note"}
    assert annotation["cause"] == "heater_failed_off"
    assert annotation["from"] == datetime(2026, 3, 7, 2, 10, tzinfo=UTC)
    assert annotation["to"] == datetime(2026, 3, 7, 9, 0, tzinfo=UTC)
    rows = csv.DictReader((folder / f"{case.name}.csv").read_text().splitlines())
    temperature = {
        datetime.fromisoformat(row["time"]): float(row["value"])
        for row in rows
        if row["series"] == "temperature"
    }
    during = [value for at, value in temperature.items() if annotation["from"] <= at < annotation["to"]]
    outside = [value for at, value in temperature.items() if at < annotation["from"] or at.day == 8]
    # Near 0.3 degC/h over the six hours after the thermostat first asks for heat.
    assert min(during) == pytest.approx(25.35 - 6.2 * 0.32, abs=0.25)
    assert 25.2 < min(outside) <= max(outside) < 25.8


def test_making_them_again_says_what_was_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--folder", str(tmp_path)]) == 0
    written = capsys.readouterr().out.split()
    assert [Path(path).name for path in written] == [
        "heater_failed_off.csv",
        "heater_failed_off.annotations.toml",
    ]
