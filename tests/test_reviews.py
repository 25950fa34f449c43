"""What a verdict means as an annotation, and as the truth of a replay and a search over the store itself."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from collector.annotations import read_annotations
from collector.replay import reviewed
from collector.requests import Answer, Request
from collector.reviews import GiveVerdict, Verdict, annotation_of
from collector.settings import load_configuration
from collector.store import Commit, IncidentRecord, Store, StoreReader
from rules import HOUR_US, NO_CAUSES, AlarmKey, Annotation, Evidence, Incident, Priority, score

DAY_US = 24 * HOUR_US
START_US = 1_772_928_000_000_000
INCIDENT = Incident(
    number=3,
    tank="reef",
    cause="under_limit",
    series=("temperature",),
    priority=Priority.HIGH,
    first_evidence_us=START_US + 10 * HOUR_US,
    alarmed_at_us=START_US + 11 * HOUR_US,
    ended_at_us=START_US + 14 * HOUR_US,
    evidence=Evidence(value=23.9, limit=24.0),
    alarms=(AlarmKey("reef", "temperature", "under_limit"),),
)


def said(verdict: str, **more: object) -> Annotation | None:
    return annotation_of(INCIDENT, Verdict(3, START_US, "sam", verdict, **more))


def counted(annotation: Annotation | None):
    """How the incident itself counts against the annotation."""
    truth = [] if annotation is None else [annotation]
    return score(truth, [INCIDENT], [INCIDENT], START_US, START_US + DAY_US)


def test_a_real_one_is_found_and_on_time():
    (found,) = counted(said("real")).found
    assert found.first is INCIDENT
    assert not found.is_late
    assert found.is_named


def test_a_late_one_is_found_and_late():
    (found,) = counted(said("late")).found
    assert found.is_late
    assert found.annotation.ring_by_us == INCIDENT.first_evidence_us


@pytest.mark.parametrize("verdict", ["false", "planned", ""])
def test_what_was_none_counts_as_a_false_alarm(verdict):
    annotation = said(verdict)
    assert (annotation is None) is (verdict == "")
    assert annotation is None or annotation.cause in NO_CAUSES
    found = counted(annotation)
    assert found.found == ()
    assert found.false == (INCIDENT,)


def test_the_cause_and_the_beginning_are_those_that_were_said():
    annotation = said("real", cause="heater_weak", began_us=START_US + HOUR_US)
    assert (annotation.cause, annotation.from_us) == ("heater_weak", START_US + HOUR_US)
    (found,) = counted(annotation).found
    assert found.delay_us == 10 * HOUR_US
    assert not found.is_named


def test_an_alarm_a_little_before_the_first_evidence_is_no_false_one():
    """Settings that are quicker than the present ones find the same."""
    annotation = said("real")
    assert annotation.holds(INCIDENT.first_evidence_us - HOUR_US // 2)


CONFIGURATION = """
[mqtt]
host = "127.0.0.1"
[tanks.reef]
time_zone = "UTC"
[tanks.reef.series.temperature]
quantity = "temperature"
alarm_low = "24 degC"
[[sources]]
topic = "reef/temperature"
format = "number"
tank = "reef"
series = "temperature"
unit = "degC"
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Two dips of temperature in the store, each an incident: one was real, one nothing."""
    path = tmp_path / "brinebell.toml"
    path.write_text(CONFIGURATION)
    configuration = load_configuration(path, {})
    dips = (START_US + 10 * HOUR_US, START_US + 40 * HOUR_US)

    def value(at_us: int) -> float:
        # The first goes down to 22.5 degC and stays for three hours, the other to 23.9 degC for one.
        if dips[0] <= at_us < dips[0] + 3 * HOUR_US:
            return 22.5
        return 23.9 if dips[1] <= at_us < dips[1] + HOUR_US else 25.0 + (at_us // 60_000_000 % 7) / 100

    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        for first_us in range(START_US, START_US + 3 * DAY_US, HOUR_US):
            times = range(first_us, first_us + HOUR_US, HOUR_US // 60)
            rows = [(0, at_us, value(at_us), 1, 0, 0, 0, b"") for at_us in times]
            store.commit(Commit(times[-1], times[-1], rows=rows))
        records = [
            IncidentRecord(
                Incident(
                    number,
                    "reef",
                    "under_limit",
                    ("temperature",),
                    Priority.HIGH,
                    at_us,
                    at_us + HOUR_US // 2,
                    at_us + 3 * HOUR_US,
                    Evidence(),
                    (AlarmKey("reef", "temperature", "under_limit"),),
                ),
                "Under limit",
                "",
            )
            for number, at_us in enumerate(dips, start=1)
        ]
        asked = [
            Request("one", START_US, "sam", GiveVerdict(1, "real")),
            Request("two", START_US, "sam", GiveVerdict(2, "real")),
            Request("three", START_US, "sam", GiveVerdict(2, "false")),
        ]
        end_us = START_US + 3 * DAY_US
        store.commit(Commit(end_us, end_us, incidents=records, requests=asked))
        store.commit(Commit(end_us, end_us, answers=[Answer(one.id, True, "kept") for one in asked]))
    return path


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "collector", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=250, check=False)


def test_verdicts_come_out_as_an_annotation_file_that_replay_takes(config, tmp_path):
    result = run("incidents", "--config", str(config), "--annotations")
    assert result.returncode == 0, result.stderr
    assert 'cause = "under_limit"' in result.stdout
    assert 'cause = "nothing"' in result.stdout
    truth = tmp_path / "truth.toml"
    truth.write_text(result.stdout)
    configuration = load_configuration(config, {})
    with StoreReader(configuration.store.path) as reader:
        assert read_annotations(truth, configuration) == reviewed(reader).annotations
    result = run("replay", "--config", str(config))
    assert result.returncode == 0, result.stderr
    assert "Held against the verdicts on its incidents." in result.stderr
    assert "under_limit in reef: incident 1 after 1 h 10 min" in result.stdout
    assert "1 false alarm in" in result.stdout


def test_the_store_is_tuned_against_its_verdicts(config, tmp_path):
    report = tmp_path / "tune.html"
    key = "tanks.reef.series.temperature.alarm_low"
    result = run(
        *("tune", "--config", str(config), "--try", f"{key}=23.5 degC, 24 degC", "--workers", "1"),
        *("--report", str(report), "--json"),
    )
    assert result.returncode == 0, result.stderr
    found = json.loads(result.stdout)
    # The dip that was nothing went to 23.9 degC, the real one to 22.5 degC.
    assert (found["before"]["false"], found["before"]["missed"]) == (1, 0)
    assert found["best"]["values"] == ["23.5 degC"]
    assert (found["best"]["false"], found["best"]["missed"]) == (0, 0)
    html = report.read_text()
    assert "Best: 23.5" in html
    assert "Limits: under limit 23.5 °C; before: under limit 24.0 °C." in html.replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert html.count('class="was"') == 1
    assert 'class="chart trade-off"' in html


def test_without_a_verdict_there_is_nothing_to_tune_against(config):
    configuration = load_configuration(config, {})
    with Store(configuration.store.path) as store:
        asked = [Request(f"back {one}", START_US, "sam", GiveVerdict(one, "")) for one in (1, 2)]
        store.commit(Commit(START_US, START_US, requests=asked))
        store.commit(Commit(START_US, START_US, answers=[Answer(one.id, True, "kept") for one in asked]))
    result = run(
        "tune", "--config", str(config), "--try", "tanks.reef.series.temperature.alarm_low=23 degC, 24 degC"
    )
    assert result.returncode == 2
    assert "no incident in the store has a verdict yet" in result.stderr
