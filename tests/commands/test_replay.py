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
        f"1  {first:%Y-%m-%dT%H:%MZ}, alarmed {(alarmed - first) // timedelta(minutes=1)} min later  urgent  "
        f"heater_failed_off  reef/temperature  {hours} h {minutes} min"
    )


@pytest.mark.parametrize("key", ["first_evidence", "alarmed_at", "ended_at"])
def test_instants_are_rfc_3339_in_utc_with_microseconds(key):
    (incident,) = json.loads(replay("--json").stdout)["incidents"]
    assert datetime.strptime(incident[key], "%Y-%m-%dT%H:%M:%S.%fZ")


def test_without_a_configuration_it_says_which_one_it_uses_and_what_it_lacks():
    result = replay()
    assert "the shipped example configuration is used" in result.stderr
    assert "what was learned (faults are judged as in the first week: --learn); planned work" in result.stderr
    assert "heater_failed_off" in result.stdout


def test_an_incident_is_explained_step_by_step():
    (incident,) = json.loads(replay("--json").stdout)["incidents"]
    result = replay("--explain", str(incident["number"]))
    assert result.returncode == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "Incident 1: heater failed off, tank reef, urgent"
    alarmed = datetime.fromisoformat(incident["alarmed_at"])
    place = lines.index(
        f"{alarmed:%Y-%m-%d %H:%M}  heater failed off, Water temperature: alarm raised, urgent"
    )
    assert lines[place + 1] == "    how the confidence grew"
    grown = [
        line.split()
        for line in lines[place + 2 : lines.index("    because")]
        if line.endswith("%") or " %  " in line
    ]
    steps = [(f"{day} {clock}", int(percent)) for day, clock, percent, *_ in grown if percent.isdecimal()]
    # It ends where it rang, at 50 % or more.
    assert steps
    assert steps == sorted(steps)
    assert steps[-1][1] >= 50
    assert steps[-1][0] <= f"{alarmed:%Y-%m-%d %H:%M}"
    assert any("slope: -0." in line and "over 1 h" in line for line in lines)
    assert any(line.strip().startswith("danger line 21.0 °C about ") for line in lines)
    ended = datetime.fromisoformat(incident["ended_at"])
    assert lines[-1].startswith(f"{ended:%Y-%m-%d %H:%M}  incident ended, ")


def test_an_incident_that_there_is_not_is_one_line_with_how_many_there_are():
    result = replay("--explain", "4")
    assert result.returncode == 2
    assert "brinebell: there is no incident 4 in this recording: it has 1, from 1 on" in result.stderr


def test_a_file_that_is_not_there_is_one_line_and_not_a_traceback(tmp_path):
    command = [sys.executable, "-m", "collector", "replay", str(tmp_path / "none.csv")]
    result = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert result.returncode == 1
    assert "none.csv" in result.stderr
    assert "Traceback" not in result.stderr
