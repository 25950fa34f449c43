"""What is published of what has become durable, by a line that takes it down; the broker is elsewhere."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from collector.alarm_record import LifeChange
from collector.learning import Standing
from collector.publishing import Publisher
from collector.store import Commit, IncidentRecord, StoreReader
from rules import (
    AlarmKey,
    AlarmLife,
    AlarmRaised,
    AlarmReturned,
    AlarmState,
    AlarmStep,
    Evidence,
    FlagRevised,
    Hold,
    Incident,
    PoorFit,
    Priority,
    WeekProfile,
)
from tests.intake.parts import MINUTE, SECOND, START_US, Running, configuration

HOT = AlarmKey("reef", "temperature", "over_limit")
AT = "2026-09-21T14:13:20Z"  # START_US, by `date -u -d @1790000000`
ALARM = "brinebell/reef/alarms/temperature/over_limit"
INCIDENTS, SOUNDER = "brinebell/reef/incidents", "brinebell/reef/sounder"
QUALITY = "brinebell/reef/series/temperature/quality"
EXPECTED = "brinebell/reef/series/temperature/expected"


class Line:
    def __init__(self) -> None:
        self.publishing_on: int | None = 1
        self.sent: list[tuple[str, bytes]] = []

    def publish(self, topic: str, payload: bytes) -> None:
        self.sent.append((topic, payload))

    def take(self) -> dict[str, Any]:
        """What was sent since, read as JSON where it is; nothing may be sent twice."""
        taken, self.sent = self.sent, []
        assert len({topic for topic, _ in taken}) == len(taken)
        return {
            topic: json.loads(payload) if payload[:1] == b"{" else payload.decode()
            for topic, payload in taken
        }


class Parts:
    """A publisher, and a clock that each turn moves on by a second."""

    def __init__(self, folder: Path) -> None:
        self.line, self.now_us = Line(), START_US
        self.notes: dict[str, str] = {}
        self.configuration = configuration(folder)
        self.usual: dict[int, Standing] = {}
        self.publisher = self.start()

    def start(self) -> Publisher:
        self.publisher = Publisher(
            self.line,
            self.configuration,
            recall=self.notes.get,
            remember=self.notes.__setitem__,
            monotonic=lambda: self.now_us / SECOND,
        )
        return self.publisher

    def turn(self) -> dict[str, Any]:
        self.now_us += SECOND
        self.publisher.turn(self.now_us, self.usual)
        return self.line.take()


@pytest.fixture
def parts(tmp_path: Path) -> Parts:
    parts = Parts(tmp_path)
    assert parts.turn() == {INCIDENTS: {"open": []}, SOUNDER: "quiet"}
    return parts


def raised(priority: Priority = Priority.URGENT) -> AlarmRaised:
    return AlarmRaised(START_US, HOT, priority, START_US - MINUTE, ("temperature",))


RAISED = AlarmLife().after(AlarmStep.RAISE)
SEEN = RAISED.after(AlarmStep.ACKNOWLEDGE)
NORMAL = SEEN.after(AlarmStep.RETURN)


def suppressed(life: AlarmLife) -> AlarmLife:
    return life.held(Hold(AlarmState.SUPPRESSED, START_US, None, "planned work", ""))


def step(life: AlarmLife, at_us: int = START_US, alarm: AlarmKey = HOT) -> LifeChange:
    return LifeChange(alarm, at_us, "a step", life)


def record(ended_us: int | None = None) -> IncidentRecord:
    incident = Incident(
        7,
        "reef",
        "over_limit",
        ("temperature",),
        Priority.URGENT,
        START_US - MINUTE,
        START_US,
        ended_us,
        Evidence(danger_at_us=START_US + MINUTE),
        (HOT,),
    )
    return IncidentRecord(incident, "Too warm: The reef 28 degC", "Look.")


def commit(**more: Any) -> Commit:
    return Commit(START_US, START_US, **more)


def test_an_alarm_is_published_with_its_incident_and_sounds_while_urgent(parts: Parts) -> None:
    parts.publisher.hear(commit(alarms=[raised()], incidents=[record()], lives=[step(RAISED)]))
    assert parts.turn() == {
        ALARM: {
            "state": "unacknowledged",
            "cause": "over_limit",
            "series": "temperature",
            "priority": "urgent",
            "since": AT,
            "first_evidence": "2026-09-21T14:12:20Z",
            "incident": 7,
        },
        INCIDENTS: {
            "open": [
                {
                    "number": 7,
                    "cause": "over_limit",
                    "priority": "urgent",
                    "series": ["temperature"],
                    "first_evidence": "2026-09-21T14:12:20Z",
                    "alarmed_at": AT,
                    "danger_at": "2026-09-21T14:14:20Z",
                    "text": "Too warm: The reef 28 degC",
                }
            ]
        },
        SOUNDER: "sound",
    }
    ended = AlarmReturned(START_US + MINUTE, HOT)
    parts.publisher.hear(commit(alarms=[ended], incidents=[record(START_US + MINUTE)], lives=[step(NORMAL)]))
    sent = parts.turn()
    assert (sent[ALARM]["state"], sent[ALARM]["incident"]) == ("normal", None)
    assert sent[INCIDENTS] == {"open": []}
    assert sent[SOUNDER] == "quiet"


@pytest.mark.parametrize("priority", [Priority.HIGH, Priority.LOW])
def test_what_is_not_urgent_does_not_sound(parts: Parts, priority: Priority) -> None:
    parts.publisher.hear(commit(alarms=[raised(priority)], lives=[step(RAISED)]))
    assert parts.turn().keys() == {ALARM}


def test_an_alarm_that_is_suppressed_by_design_says_so_sounds_not_and_comes_back(parts: Parts) -> None:
    parts.publisher.hear(commit(alarms=[raised()], lives=[step(RAISED)]))
    parts.turn()
    parts.publisher.hear(commit(lives=[step(suppressed(RAISED))]))
    sent = parts.turn()
    assert sent[ALARM]["state"] == "suppressed by design"
    assert sent[ALARM]["priority"] == "urgent"
    assert sent[SOUNDER] == "quiet"
    parts.publisher.hear(commit(lives=[step(suppressed(RAISED))]))
    assert parts.turn() == {}
    parts.publisher.hear(commit(lives=[step(RAISED)]))
    assert parts.turn()[ALARM]["state"] == "unacknowledged"


def test_a_sounder_is_quiet_when_somebody_has_seen_it_and_sounds_when_it_comes_again(parts: Parts) -> None:
    parts.publisher.hear(commit(alarms=[raised()], lives=[step(RAISED)]))
    assert parts.turn()[SOUNDER] == "sound"
    parts.publisher.hear(commit(lives=[step(SEEN, START_US + MINUTE)]))
    sent = parts.turn()
    assert (sent[ALARM]["state"], sent[ALARM]["since"]) == ("acknowledged", "2026-09-21T14:14:20Z")
    assert sent[SOUNDER] == "quiet"
    parts.publisher.hear(commit(lives=[step(SEEN.after(AlarmStep.REALARM))]))
    assert parts.turn()[SOUNDER] == "sound"


def test_a_series_out_of_service_has_no_topic_of_an_alarm(parts: Parts) -> None:
    out = AlarmLife().held(Hold(AlarmState.OUT_OF_SERVICE, START_US, None, "keeper", "at the maker's"))
    parts.publisher.hear(commit(lives=[step(out, alarm=AlarmKey("reef", "temperature", ""))]))
    assert parts.turn() == {}


def test_quality_is_published_when_the_flag_changes_and_not_for_what_is_older(parts: Parts) -> None:
    def row(second: int, flag: int) -> tuple[Any, ...]:
        return (0, START_US + second * SECOND, 25.0, flag, 0, 0, 0, b"")

    parts.publisher.hear(commit(rows=[row(1, 1)]))
    assert parts.turn() == {QUALITY: {"flag": 1, "word": "pass", "since": "2026-09-21T14:13:21Z"}}
    parts.publisher.hear(commit(rows=[row(2, 1)]))
    assert parts.turn() == {}
    parts.publisher.hear(commit(rows=[row(3, 4)]))
    assert parts.turn() == {QUALITY: {"flag": 4, "word": "fail", "since": "2026-09-21T14:13:23Z"}}
    parts.publisher.hear(commit(rows=[row(1, 1)]))
    assert parts.turn() == {}
    parts.publisher.hear(commit(revised=[FlagRevised(0, START_US + 3 * SECOND, 3, 0)]))
    assert parts.turn()[QUALITY]["word"] == "suspect"
    parts.publisher.hear(commit(revised=[FlagRevised(0, START_US + 2 * SECOND, 4, 0)]))
    assert parts.turn() == {}


def test_a_flag_that_changes_with_each_reading_is_told_twice_a_second_at_most(parts: Parts) -> None:
    for number in range(20):
        flag = 1 if number % 2 else 4
        parts.publisher.hear(commit(rows=[(0, START_US + number, 25.0, flag, 0, 0, 0, b"")]))
        parts.now_us += SECOND // 20
        parts.publisher.turn(parts.now_us, {})
    assert [topic for topic, _ in parts.line.sent] in ([QUALITY], [QUALITY] * 2)


def usual(low: float = 25.0) -> dict[int, Standing]:
    profile = WeekProfile("UTC", ((low + 0.25,) * 96,), (0.25,) * 96, 1.0, "level", 0.0, 28)
    return {0: Standing(profile, START_US)}


def test_the_usual_band_is_published_once_a_quarter_and_when_it_is_fitted_anew(parts: Parts) -> None:
    parts.usual = usual()
    band = {"low": 25.0, "high": 25.5, "unit": "degC", "from": "2026-09-21T14:00:00Z"}
    assert parts.turn() == {EXPECTED: band}
    assert parts.turn() == {}
    parts.now_us += 15 * MINUTE
    assert parts.turn()[EXPECTED]["from"] == "2026-09-21T14:15:00Z"
    parts.usual = usual(24.0)
    assert parts.turn()[EXPECTED]["low"] == 24.0
    # A fit that is no help takes it away.
    parts.usual = {0: Standing(PoorFit("skill", 0.5, 1.0), START_US)}
    assert parts.turn() == {EXPECTED: ""}


def test_nothing_is_sent_while_the_broker_is_away_and_everything_on_the_next_connection(parts: Parts) -> None:
    parts.publisher.hear(commit(alarms=[raised()], incidents=[record()], lives=[step(RAISED)]))
    parts.turn()
    parts.line.publishing_on = None
    parts.publisher.hear(
        commit(alarms=[AlarmReturned(START_US, HOT)], incidents=[record(START_US)], lives=[step(NORMAL)])
    )
    assert parts.turn() == {}
    parts.line.publishing_on = 2
    sent = parts.turn()
    assert sent[ALARM]["state"] == "normal"
    assert sent.keys() == {ALARM, INCIDENTS, SOUNDER}


def test_what_a_killed_service_had_published_and_is_so_no_more_is_emptied(parts: Parts) -> None:
    parts.usual = usual()
    parts.turn()
    parts.start()
    parts.usual = {}
    assert parts.turn()[EXPECTED] == ""


def test_everything_is_taken_back_when_the_keeper_wants_nothing_published(parts: Parts) -> None:
    parts.publisher.hear(commit(alarms=[raised()], lives=[step(RAISED)]))
    parts.turn()
    mqtt = replace(parts.configuration.mqtt, publishes=False)
    parts.configuration = replace(parts.configuration, mqtt=mqtt)
    parts.start().hear(commit(alarms=[raised()], lives=[step(RAISED)]))
    assert parts.turn() == {ALARM: "", INCIDENTS: "", SOUNDER: ""}


def test_after_a_restart_it_says_what_was_open_in_which_state_and_of_what_quality(tmp_path: Path) -> None:
    running = Running(tmp_path)
    running.be_live()
    for _ in range(4):
        running.line.bring(running.timed(28.0))
        running.rounds()
        running.pass_time(30)
    (alarm,) = running.reader.open_alarms()
    at_us = running.now_us
    lives = [step(RAISED, at_us - MINUTE, alarm.alarm), step(RAISED, at_us, alarm.alarm)]
    running.store.commit(Commit(at_us, at_us, lives=lives))
    running.close()
    parts = Parts(tmp_path)
    with StoreReader(parts.configuration.store.path) as reader:
        parts.publisher.restore(reader, running.ids)
    sent = parts.turn()
    found = sent["brinebell/reef/alarms/temperature/over_danger_line"]
    assert (found["incident"], found["state"], found["priority"]) == (1, "unacknowledged", "urgent")
    assert sent[SOUNDER] == "sound"
    assert sent[QUALITY]["flag"] == 1
