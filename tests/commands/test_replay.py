"""`brinebell replay` on the recording that ships with the project, from outside."""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tomllib
from datetime import datetime, timedelta
from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest

from collector.payloads import state_value
from collector.recordings import read_files
from collector.settings import load_configuration
from collector.store import Commit, Store
from collector.units import converter
from tests.commands.conftest import answer_of

CASE = files("replay_data") / "heater_failed_off"
WEEKS = Path(__file__).parents[2] / "replay_data"


@cache
def replay(*arguments: str) -> subprocess.CompletedProcess[str]:
    return answer_of("replay", str(CASE / "heater_failed_off.csv"), *arguments)


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


@pytest.fixture
def store(tmp_path):
    """What a service recorded of the shipped week, a commit an hour."""
    settings = tmp_path / "brinebell.toml"
    settings.write_text(WEEKS.joinpath("tank.toml").read_text(encoding="utf-8"), encoding="utf-8")
    configuration = load_configuration(settings, {})
    recording = read_files([WEEKS / "heater_failed_off"], configuration, converter, state_value)
    with Store(configuration.store.path, synchronous="OFF") as store:
        store.register(configuration.series)
        for start in range(0, len(recording), 60):
            cut = slice(start, start + 60)
            columns = (recording.series[cut], recording.times_us[cut], recording.values[cut])
            rows = [(*row, 1, 0, 0, 0, b"") for row in zip(*(one.tolist() for one in columns), strict=True)]
            end_us = rows[-1][1] + 1_000_000
            store.commit(Commit(committed_us=end_us, engine_us=end_us, rows=rows))
    return settings


def of_store(settings, *arguments: str) -> subprocess.CompletedProcess[str]:
    return answer_of("replay", "--config", str(settings), *arguments)


def test_without_a_file_what_the_service_recorded_is_replayed(store):
    result = of_store(store, "--json")
    assert result.returncode == 0, result.stderr
    found = json.loads(result.stdout)
    assert [one["cause"] for one in found["incidents"]] == ["heater_failed_off"]
    assert found["lacks"] == ["who answered"]
    assert [one["at_night"] for one in found["incidents"][0]["rings"] if not one["quietly"]] == [True]


@pytest.mark.parametrize(
    ("span", "count"),
    [
        (("--from", "2026-03-07T00:00Z"), 1),
        (("--from", "2026-03-08T00:00Z"), 0),
        (("--to", "2026-03-07T03:00Z"), 0),
    ],
)
def test_a_span_of_the_store_tells_of_what_happened_in_it(store, span, count):
    result = of_store(store, "--json", *span)
    assert result.returncode == 0, result.stderr
    assert len(json.loads(result.stdout)["incidents"]) == count


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--from", "2027-03-07T00:00Z"), "the store holds no readings of these series in that time"),
        (("--from", "2026-03-07"), "--from '2026-03-07' is no time with an offset"),
        (("--plan", "plan.ics"), "--plan goes with files"),
        (("--learn",), "--learn goes with files"),
    ],
)
def test_what_cannot_be_asked_of_a_store_is_told(store, arguments, says):
    result = of_store(store, *arguments)
    assert result.returncode == 2
    assert says in result.stderr


def test_a_span_of_a_file_is_refused():
    result = replay("--from", "2026-03-07T00:00Z")
    assert result.returncode == 2
    assert "--from and --to go with the store" in result.stderr


def test_planned_work_of_a_calendar_keeps_it_quiet(tmp_path):
    """A limit that the water crosses within a water change does not ring; the same without it does."""
    week = tmp_path / "week.csv"
    lines = ["time,temperature"]
    for minute in range(0, 24 * 60, 5):
        value = (23.5 if 725 <= minute < 760 else 25.5) + 0.05 * math.sin(minute / 20)
        lines.append(f"2026-03-02T{minute // 60:02d}:{minute % 60:02d}:00Z,{value:.2f}")
    week.write_text("\n".join(lines))
    plan = tmp_path / "plan.ics"
    plan.write_text(
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//a keeper//EN\r\nBEGIN:VEVENT\r\nUID:1\r\n"
        "DTSTAMP:20260301T000000Z\r\nDTSTART:20260302T120000Z\r\nDTEND:20260302T124500Z\r\n"
        "SUMMARY:Water change\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    counts = []
    for more in ([], ["--plan", str(plan)], ["--plan", f"reef={plan}"]):
        result = answer_of("replay", str(week), "--json", *more)
        assert result.returncode == 0, result.stderr
        counts.append(len(json.loads(result.stdout)["incidents"]))
    assert counts[0] > 0
    assert counts[1:] == [0, 0]
