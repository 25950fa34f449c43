"""Following a replay's reasoning changes nothing of it, and does not depend on how it is cut."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest

from collector.configuration import Configuration
from collector.payloads import state_value
from collector.recordings import Recording, read_csv
from collector.replay import Reasoning, Replay
from collector.settings import load_configuration
from collector.units import converter
from rules import AlarmRaised, Block, Engine, Incident

CASE = files("replay_data") / "heater_failed_off" / "heater_failed_off.csv"


@pytest.fixture(scope="module")
def configuration() -> Configuration:
    return load_configuration(None)


@pytest.fixture(scope="module")
def recording(configuration: Configuration) -> Recording:
    return read_csv(Path(str(CASE)), configuration, converter, state_value)


def replay(
    recording: Recording, configuration: Configuration, reasoning: Reasoning | None = None
) -> tuple[Incident, ...]:
    return Replay(configuration, reasoning=reasoning).recording(recording).incidents


def test_following_changes_no_incident(recording: Recording, configuration: Configuration) -> None:
    followed = replay(recording, configuration, reasoning=Reasoning())
    assert followed == replay(recording, configuration)
    assert followed


def test_every_alarm_of_an_incident_is_a_step_and_a_fault_has_what_it_found_before(
    recording: Recording, configuration: Configuration
) -> None:
    reasoning = Reasoning()
    (incident,) = replay(recording, configuration, reasoning=reasoning)
    steps = reasoning.steps(incident.number)
    raised = [step for step in steps if isinstance(step.event, AlarmRaised)]
    assert {step.event.alarm for step in raised} == set(incident.alarms)
    assert len(steps) == 2 * len(raised)
    (fault,) = [step for step in raised if step.event.alarm.cause == "heater_failed_off"]
    # From the first suspicion to the ring, on the confidence that rang.
    assert fault.before[0].at_us == fault.event.first_evidence_us
    assert fault.before[-1].finding.confidence == pytest.approx(fault.event.evidence.confidence, abs=0.001)
    assert fault.before[-1].at_us == fault.event.at_us
    assert fault.before[-1].speaks
    assert not any(one.speaks for one in fault.before[:-1])
    assert fault.before[-1].since_us == fault.event.first_evidence_us
    assert reasoning.steps(99) == ()


def test_the_reasoning_does_not_depend_on_the_cut(recording: Recording, configuration: Configuration) -> None:
    whole = Reasoning()
    (incident,) = replay(recording, configuration, reasoning=whole)
    cut = Reasoning()
    engine = Engine(configuration.engine, on_judgement=cut.judged)
    for start in range(0, len(recording), 997):
        part = slice(start, start + 997)
        block = Block(recording.times_us[part], recording.values[part], recording.series[part])
        cut.follow(engine.advance(block).events)
    cut.follow(engine.advance_to(int(recording.times_us[-1]) + configuration.engine.allowance_us))
    assert cut.steps(incident.number) == whole.steps(incident.number)
