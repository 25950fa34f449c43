"""`brinebell replay` on the recording that ships with the project, from outside."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from datetime import datetime, timedelta
from importlib.resources import files

import pytest

CASE = files("replay_data") / "heater_failed_off"


def replay(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "collector", "replay", str(CASE / "heater_failed_off.csv"), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def test_the_shipped_recording_gives_the_one_incident_of_its_annotation_file():
    result = replay("--json")
    assert result.returncode == 0
    (incident,) = json.loads(result.stdout)["incidents"]
    annotations = tomllib.loads((CASE / "heater_failed_off.annotations.toml").read_text())
    (truth,) = annotations["annotation"]
    assert incident["cause"] == truth["cause"]
    assert incident["series"] == ["reef/temperature"]
    assert incident["priority"] == "urgent"
    alarmed_at = datetime.fromisoformat(incident["alarmed_at"])
    assert truth["from"] < datetime.fromisoformat(incident["first_evidence"]) < alarmed_at
    assert alarmed_at < truth["from"] + timedelta(hours=2)
    assert truth["to"] < datetime.fromisoformat(incident["ended_at"]) < truth["to"] + timedelta(hours=3)
    first, _, rest = incident["text"].partition("\n")
    assert first.startswith("Heater failed")
    assert len(first) <= 60
    assert rest


def test_text_tells_the_instants_and_durations_of_the_json():
    (incident,) = json.loads(replay("--json").stdout)["incidents"]
    first, alarmed, ended = (
        datetime.fromisoformat(incident[key]) for key in ("first_evidence", "alarmed_at", "ended_at")
    )
    hours, minutes = divmod((ended - first) // timedelta(minutes=1), 60)
    assert replay().stdout.splitlines()[1] == (
        f"{first:%Y-%m-%dT%H:%MZ}, alarmed {(alarmed - first) // timedelta(minutes=1)} min later  urgent  "
        f"heater_failed_off  reef/temperature  {hours} h {minutes} min"
    )


@pytest.mark.parametrize("key", ["first_evidence", "alarmed_at", "ended_at"])
def test_instants_are_rfc_3339_in_utc_with_microseconds(key):
    (incident,) = json.loads(replay("--json").stdout)["incidents"]
    assert datetime.strptime(incident[key], "%Y-%m-%dT%H:%M:%S.%fZ")


def test_without_a_configuration_it_says_which_one_it_uses_and_what_it_lacks():
    result = replay()
    assert "the shipped example configuration is used" in result.stderr
    assert "no baseline, planned work or answers: faults are judged as in the first week" in result.stderr
    assert "heater_failed_off" in result.stdout


def test_a_file_that_is_not_there_is_one_line_and_not_a_traceback(tmp_path):
    command = [sys.executable, "-m", "collector", "replay", str(tmp_path / "none.csv")]
    result = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert result.returncode == 1
    assert "none.csv" in result.stderr
    assert "Traceback" not in result.stderr
