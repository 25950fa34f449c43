"""Alarms, incidents, deliveries and baselines come back as the values that went in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.store import Commit, IncidentRecord, NewMessage, Outbox, Outcome, Store, StoreReader
from rules import AlarmKey, AlarmRaised, AlarmReturned, Evidence, Incident, Priority, Reason, Rival, Sign
from tests.store.commits import query

COLD = AlarmKey("reef", "temperature", "under_limit")
HEATER = AlarmKey("reef", "temperature", "heater_failed_off")
SILENT = AlarmKey("reef", "ph", "probe_silent")
EVIDENCE = Evidence(
    value=24.1,
    limit=24.5,
    rate_per_hour=-0.4,
    since_us=500,
    danger=22.0,
    danger_at_us=9_000,
    confidence=0.8,
    reasons=(
        Reason(Sign.SLOPE, "temperature", -0.4, window_us=3_600_000_000),
        Reason(Sign.BAND, "temperature", 24.1, 24.8, 25.4, since_us=500),
    ),
    rivals=(Rival("heater_weak", 0.4),),
)
INCIDENT = Incident(
    number=1,
    tank="reef",
    cause="under_limit",
    series=("temperature", "ph"),
    priority=Priority.HIGH,
    first_evidence_us=500,
    alarmed_at_us=1000,
    ended_at_us=None,
    evidence=EVIDENCE,
    alarms=(COLD,),
)


def raised(at_us: int, alarm: AlarmKey, evidence: Evidence = EVIDENCE) -> AlarmRaised:
    return AlarmRaised(at_us, alarm, Priority.HIGH, at_us - 500, concerns=(alarm.series,), evidence=evidence)


def record(incident: Incident) -> IncidentRecord:
    return IncidentRecord(incident, "Display temperature 24.1 degC", "Falling since 03:10.")


def test_alarm_events_come_back_as_they_went_in(store: Store, reader: StoreReader) -> None:
    events = (raised(1000, COLD), AlarmReturned(2000, COLD, 25.0), AlarmReturned(2500, SILENT))
    store.commit(Commit(3000, 3000, alarms=events))
    assert reader.alarm_events(0, 2500) == events[:2]
    assert reader.alarm_events(1000, 2501) == events


def test_evidence_with_numbers_of_numpy_and_nan_is_kept(store: Store, reader: StoreReader) -> None:
    evidence = Evidence(value=float(np.float64(24.5)), limit=float("nan"), rate_per_hour=np.float64(-0.5))
    store.commit(Commit(3000, 3000, alarms=[raised(1000, COLD, evidence)]))
    (event,) = reader.alarm_events(0, 5000)
    assert isinstance(event, AlarmRaised)
    assert event.evidence == Evidence(value=24.5, rate_per_hour=-0.5)


def test_evidence_of_another_version_is_read_as_far_as_it_is_known(
    store: Store, reader: StoreReader, path: Path
) -> None:
    store.commit(Commit(3000, 3000, alarms=[raised(1000, COLD)]))
    store._connection.execute("""UPDATE alarm_events SET evidence = '{"value": 24.1, "colour": "red"}'""")
    (event,) = reader.alarm_events(0, 5000)
    assert isinstance(event, AlarmRaised)
    assert event.evidence == Evidence(value=24.1)


def test_open_alarms_are_those_raised_last(store: Store, reader: StoreReader) -> None:
    again = raised(4000, SILENT)
    store.commit(Commit(1, 1, alarms=[raised(1000, SILENT), raised(1100, COLD), AlarmReturned(1200, SILENT)]))
    store.commit(Commit(2, 2, alarms=[AlarmReturned(1300, COLD), raised(1400, HEATER), again]))
    assert reader.open_alarms() == (raised(1400, HEATER), again)


def test_incident_is_kept_as_it_last_was(store: Store, reader: StoreReader, path: Path) -> None:
    worse = replace(INCIDENT, priority=Priority.URGENT, cause="heater_failed_off", alarms=(COLD, HEATER))
    store.commit(Commit(1, 1, incidents=[record(INCIDENT)]))
    store.commit(Commit(2, 2, incidents=[record(worse), record(replace(INCIDENT, number=2))]))
    assert reader.open_incidents() == (worse, replace(INCIDENT, number=2))
    ended = replace(worse, ended_at_us=8000)
    store.commit(Commit(3, 3, incidents=[record(ended)]))
    assert reader.open_incidents() == (replace(INCIDENT, number=2),)
    assert [one.incident.number for one in reader.incidents()] == [2, 1]
    assert [one.incident.number for one in reader.incidents(last=1)] == [2]
    assert [one.incident.number for one in reader.incidents(open_only=True)] == [2]
    assert reader.incident(1).record == record(ended)
    assert reader.last_incident_number == 2
    assert query(path, "SELECT count(*) FROM incidents") == [(2,)]


def test_incident_comes_with_the_events_of_its_alarms_while_it_was_open(
    store: Store, reader: StoreReader
) -> None:
    events = (raised(1000, COLD), raised(1500, SILENT), raised(1600, HEATER), AlarmReturned(8000, COLD))
    before, after = raised(900, COLD), raised(8001, HEATER)
    store.commit(Commit(1, 1, alarms=[before, *events, after]))
    ended = replace(INCIDENT, ended_at_us=8000, alarms=(COLD, HEATER))
    store.commit(Commit(2, 2, incidents=[record(ended)]))
    assert reader.incident(1).events == (events[0], events[2], events[3])


def test_unknown_incident_is_a_key_error(reader: StoreReader) -> None:
    assert reader.last_incident_number == 0
    with pytest.raises(KeyError):
        reader.incident(1)


def test_deliveries_show_each_try(store: Store, reader: StoreReader, path: Path) -> None:
    message = NewMessage(1, "ring", "sam", "first", 1000, 1000, "title", "body", Priority.HIGH)
    store.commit(
        Commit(1, 1, incidents=[record(INCIDENT)], messages=[message, replace(message, person="kim")])
    )
    with Outbox(path) as outbox:
        first, second = outbox.due(1000)
        number = outbox.record_try_started(first.id, 1100)
        outbox.record_try_ended(number, 1200, Outcome.FAILED, "no route", retry_at_us=5000)
        outbox.record_try_started(second.id, 1300)
    found = reader.deliveries(1)
    assert [(one.message.person, one.state, one.message.tries) for one in found] == [
        ("sam", "waiting", 1),
        ("kim", "waiting", 1),
    ]
    assert found[0].tries[0][1:] == (1100, 1200, "failed", "no route")
    assert found[1].tries[0][1:] == (1300, None, None, None)
    assert reader.deliveries(2) == ()


def test_baseline_in_force_and_later_ones_are_found(store: Store, reader: StoreReader) -> None:
    for at_us in (100, 200, 300):
        store.record_baseline(0, "profile", {"day": [1.5, None]}, fitted_us=at_us - 10, applies_from_us=at_us)
    store.record_baseline(1, "profile", {}, fitted_us=0, applies_from_us=50)
    found = reader.baselines(250)
    assert [(one.series, one.applies_from_us) for one in found] == [(2, 50), (1, 200), (1, 300)]
    assert found[1].data == {"day": [1.5, None]}
    assert [one.applies_from_us for one in reader.baselines(200)] == [50, 200, 300]
    assert [one.applies_from_us for one in reader.baselines(10**9)] == [50, 300]


def test_heat_model_in_force_and_later_ones_are_found(store: Store, reader: StoreReader) -> None:
    for at_us in (100, 200, 300):
        store.record_heat_model("reef", "form", {"tau": 22.5}, fitted_us=at_us - 10, applies_from_us=at_us)
    store.record_heat_model("nano", "form", {}, fitted_us=0, applies_from_us=50)
    found = reader.heat_models(250)
    assert [(one.tank, one.applies_from_us) for one in found] == [("nano", 50), ("reef", 200), ("reef", 300)]
    assert found[1] == ("reef", 200, 190, "form", {"tau": 22.5})
    assert [one.applies_from_us for one in reader.heat_models(10**9)] == [50, 300]
