"""The list of incidents, from a real store."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector.alarm_record import LifeChange, ThreadRecord
from collector.messages import Detour, NewMessage, Outcome
from collector.settings import load_configuration
from collector.store import Commit, IncidentRecord, Outbox, Store
from rules import HOUR_US, AlarmKey, AlarmLife, AlarmRaised, Evidence, Incident, Priority, Reason, Rival, Sign
from tests.commands.conftest import Run

START_US = int(datetime(2026, 1, 10, 2, 30, tzinfo=UTC).timestamp()) * 1_000_000


EVIDENCE = Evidence(
    value=24.8,
    expected_low=25.3,
    expected_high=25.7,
    rate_per_hour=-0.31,
    danger=21.0,
    danger_at_us=START_US + 12 * HOUR_US,
    confidence=0.7,
    reasons=(
        Reason(Sign.SLOPE, "temperature", -0.31, high=-0.08, window_us=HOUR_US),
        Reason(Sign.POWER, "heater_power", 90.0, since_us=START_US, speaks_against=True),
    ),
    rivals=(Rival("probe_dry", 0.4),),
)


def _record(number: int, *, hours: float | None) -> IncidentRecord:
    alarmed_us = START_US + number * 24 * HOUR_US
    incident = Incident(
        number=number,
        tank="reef",
        cause="heater_failed_off",
        series=("temperature",),
        priority=Priority.URGENT,
        first_evidence_us=alarmed_us - HOUR_US // 4,
        alarmed_at_us=alarmed_us,
        ended_at_us=None if hours is None else alarmed_us + int(hours * HOUR_US),
        evidence=EVIDENCE,
        alarms=(AlarmKey("reef", "temperature", "heater_failed_off"),),
    )
    return IncidentRecord(incident, f"Heater off, number {number}", "Look whether it is warm.")


@pytest.fixture
def store(write: Callable[[str], Path]) -> None:
    configuration = load_configuration(write('[tanks.reef]\ntime_zone = "Africa/Nairobi"\n'), {})
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        records = (_record(1, hours=6.5), _record(2, hours=None))
        answer = ThreadRecord(2, "acknowledged", "sam", START_US + 49 * HOUR_US)
        store.commit(Commit(START_US + 99 * HOUR_US, engine_us=None, incidents=records, threads=(answer,)))


@pytest.mark.usefixtures("store")
def test_table_counts_from_the_first_evidence_in_the_tanks_own_time(ask: Run) -> None:
    told = ask("incidents")
    assert told.returncode == 0, told.stderr
    # As the page and the messages do; it alarmed a quarter of an hour later.
    # Nairobi is three hours ahead of UTC all year (IANA time zone database).
    assert told.stdout.splitlines() == [
        "no.  since                 tank  what               priority  how long",
        "1    2026-01-11 05:15 EAT  reef  heater failed off  urgent    6 h 45 min",
        "    Heater off, number 1",
        "    Look whether it is warm.",
        "    Returned to normal, unacknowledged.",
        "2    2026-01-12 05:15 EAT  reef  heater failed off  urgent    lasts",
        "    Heater off, number 2",
        "    Look whether it is warm.",
        "    Acknowledged by sam at 12 Jan.",
    ]


@pytest.fixture
def told_incident(write: Callable[[str], Path]) -> None:
    """One incident whose first channel failed: the message went on over another."""
    configuration = load_configuration(write('[tanks.reef]\ntime_zone = "Africa/Nairobi"\n'), {})
    at_us = START_US + 24 * HOUR_US
    with Store(configuration.store.path) as store:
        message = NewMessage(1, "opened", "sam", "push", at_us, at_us, "title", "body", Priority.URGENT)
        store.commit(Commit(at_us, None, incidents=[_record(1, hours=None)], messages=[message]))
        with Outbox(configuration.store.path) as outbox:
            number = outbox.record_try_started(1, at_us)
            outbox.record_try_ended(
                number, at_us, Outcome.FAILED, "status 500", detour=Detour("mailto", at_us)
            )
            outbox.record_try_ended(outbox.record_try_started(2, at_us), at_us, Outcome.DELIVERED)


@pytest.mark.usefixtures("told_incident")
def test_one_incident_is_told_with_every_message_and_try(ask: Run) -> None:
    told = ask("incidents", "1")
    assert told.returncode == 0, told.stderr
    assert told.stdout.splitlines()[-5:] == [
        "Who was told:",
        "  2026-01-11 05:30  sam over push (opened): gone on over another channel",
        "    tried 2026-01-11 05:30: failed, status 500",
        "  2026-01-11 05:30  sam over mailto (opened): delivered",
        "    tried 2026-01-11 05:30: delivered",
    ]
    found = json.loads(ask("incidents", "1", "--json").stdout)
    assert found["number"] == 1
    assert [(one["channel"], one["state"]) for one in found["messages"]] == [
        ("push", "moved"),
        ("mailto", "done"),
    ]
    assert found["messages"][0]["tries"][0]["reason"] == "status 500"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("7",), "there is no incident 7: `brinebell incidents` lists all"),
        (("1", "--last", "2"), "one incident goes without --summary and --last"),
        (("1", "--summary"), "one incident goes without --summary and --last"),
        (("0",), "'0' is not a number of incidents"),
    ],
)
@pytest.mark.usefixtures("told_incident")
def test_what_names_no_incident_says_so(ask: Run, arguments: tuple[str, ...], words: str) -> None:
    told = ask("incidents", *arguments)
    assert told.returncode == 2
    assert words in told.stderr


@pytest.mark.usefixtures("store")
def test_last_leaves_out_the_older_ones(ask: Run) -> None:
    told = ask("incidents", "--last", "1")
    assert "number 2" in told.stdout
    assert "number 1" not in told.stdout


@pytest.mark.usefixtures("store")
def test_json_has_the_documented_keys_with_the_evidence_for_machines(ask: Run) -> None:
    told = ask("incidents", "--json")
    first, second = json.loads(told.stdout)["incidents"]
    assert first == {
        "number": 1,
        "state": None,
        "answered_by": None,
        "answered_at": None,
        "until": None,
        "cause": "heater_failed_off",
        "series": ["reef/temperature"],
        "first_evidence": "2026-01-11T02:15:00.000000Z",
        "alarmed_at": "2026-01-11T02:30:00.000000Z",
        "ended_at": "2026-01-11T09:00:00.000000Z",
        "priority": "urgent",
        "text": "Heater off, number 1\nLook whether it is warm.",
        "evidence": {
            "confidence": 0.7,
            "value": 24.8,
            "limit": None,
            "usual": [25.3, 25.7],
            "rate_per_hour": -0.31,
            "since": None,
            "danger": 21.0,
            "danger_at": "2026-01-10T14:30:00.000000Z",
            "danger_between": [None, None],
            "reasons": [
                {
                    "sign": "slope",
                    "series": "temperature",
                    "value": -0.31,
                    "expected": [None, -0.08],
                    "since": None,
                    "window_s": 3600.0,
                    "speaks_against": False,
                },
                {
                    "sign": "power",
                    "series": "heater_power",
                    "value": 90.0,
                    "expected": [None, None],
                    "since": "2026-01-10T02:30:00.000000Z",
                    "window_s": None,
                    "speaks_against": True,
                },
            ],
            "rivals": [{"cause": "probe_dry", "confidence": 0.4, "what_tells": "is the probe under water?"}],
        },
    }
    assert second["ended_at"] is None


def test_empty_store_is_told(ask: Run, tmp_path: Path, write: Callable[[str], Path]) -> None:
    write("")
    with Store(tmp_path / "brinebell-data" / "brinebell.sqlite"):
        pass
    told = ask("incidents")
    assert (told.returncode, told.stdout) == (0, "No incident so far.\n")


@pytest.fixture
def rung(write: Callable[[str], Path]) -> None:
    """Two days: an alarm that rang twice at night over two channels each, and was told quietly to be over."""
    configuration = load_configuration(write('[tanks.reef]\ntime_zone = "Africa/Nairobi"\n'), {})
    key = AlarmKey("reef", "temperature", "heater_failed_off")
    raised = AlarmRaised(START_US + HOUR_US, key, Priority.URGENT, START_US, ("temperature",))
    # 22:30 UTC is 01:30 on the wall of Nairobi.
    night_us = START_US + 20 * HOUR_US
    messages = [
        NewMessage(1, kind, "sam", channel, at_us, at_us, "Heater off", "", priority)
        for kind, at_us, priority in (
            ("opened", night_us, Priority.URGENT),
            ("worsened", night_us + HOUR_US, Priority.URGENT),
            ("ended", night_us + 2 * HOUR_US, Priority.LOW),
        )
        for channel in ("json", "mailto")
    ]
    path = configuration.store.path
    with Store(path) as store:
        store.register(configuration.series)
        store.commit(Commit(START_US, START_US))
        record = _record(1, hours=None)
        store.commit(
            Commit(
                START_US + 48 * HOUR_US - 1,
                None,
                alarms=[raised],
                incidents=[record],
                messages=messages,
                lives=[
                    LifeChange(key, START_US + HOUR_US, "raise", AlarmLife()),
                    LifeChange(key, START_US + HOUR_US + HOUR_US // 4, "acknowledge", AlarmLife()),
                ],
            )
        )
        with Outbox(path) as outbox:
            for message in outbox.due(2**62):
                number = outbox.record_try_started(message.id, message.created_us)
                outbox.record_try_ended(number, message.created_us + 1, Outcome.DELIVERED)


def test_the_summary_is_of_what_was_recorded(rung: None, ask: Run) -> None:
    done = ask("incidents", "--config", "brinebell.toml", "--summary")
    assert done.returncode == 0, done.stderr
    lines = [" ".join(line.split()) for line in done.stdout.splitlines()]
    assert lines[0] == "1 alarm from 2026-01-10 02:30 to 2026-01-12 02:30 UTC"
    assert "alarms a day 0.5 about 150 acceptable, 300 the most EEMUA 191, ISA-18.2 of 2009" in lines
    assert "rings at night, a week 7.0 under 1 a week our own, for one keeper who sleeps" in lines
    assert "standing alarms, now 1 -" in lines
    assert "time to acknowledge, median 15 min, at most 15 min -" in lines
    done = ask("incidents", "--config", "brinebell.toml", "--summary", "--json", "--days", "1")
    found = json.loads(done.stdout)
    assert (found["days"], found["alarms"], found["rings_at_night"]) == (1.0, 0, 0)
    assert found["targets"]["chattering"] == {"is": "0", "after": "ISA-18.2"}


def test_a_summary_of_an_empty_store_says_so(write: Callable[[str], Path], ask: Run) -> None:
    configuration = load_configuration(write('[tanks.reef]\ntime_zone = "UTC"\n'), {})
    Store(configuration.store.path).close()
    command = ("incidents", "--config", "brinebell.toml", "--summary")
    assert ask(*command).stdout == "Nothing is recorded yet.\n"
    assert ask(*command, "--json").stdout == "{}\n"


@pytest.mark.parametrize(
    "arguments", [("--days", "7"), ("--summary", "--last", "3"), ("--summary", "--days", "0")]
)
def test_arguments_that_do_not_go_together_are_told(
    store: None, ask: Run, arguments: tuple[str, ...]
) -> None:
    done = ask("incidents", "--config", "brinebell.toml", *arguments)
    assert done.returncode == 2
    assert "--days" in done.stderr
