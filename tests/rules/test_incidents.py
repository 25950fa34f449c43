"""Alarms that belong together are one incident, which rings once."""

from __future__ import annotations

import pytest

from rules import (
    CAUSES,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Evidence,
    IncidentEnded,
    IncidentOpened,
    IncidentUpdated,
    Priority,
)
from rules.incidents import Incidents


def raised(cause, at=0, series="temperature", tank="reef", priority=Priority.HIGH, concerns=None, value=1.0):
    return AlarmRaised(
        at, AlarmKey(tank, series, cause), priority, at - 5, concerns or (series,), Evidence(value=value)
    )


def returned(cause, at, series="temperature", tank="reef"):
    return AlarmReturned(at, AlarmKey(tank, series, cause))


def test_a_fault_that_explains_a_crossed_limit_takes_over_the_incident_and_rings_again_if_more_urgent():
    incidents = Incidents()
    opened = incidents.take(raised("under_limit", 10))
    assert isinstance(opened, IncidentOpened)
    updated = incidents.take(raised("heater_failed_off", 20, priority=Priority.URGENT, value=2.0))
    assert isinstance(updated, IncidentUpdated)
    assert updated.worsened
    assert updated.incident.number == opened.incident.number
    assert updated.incident.cause == "heater_failed_off"
    assert updated.incident.evidence.value == 2.0
    assert updated.incident.alarmed_at_us == 10
    assert updated.incident.priority is Priority.URGENT


def test_a_limit_crossed_after_the_fault_is_more_evidence_and_rings_nobody():
    incidents = Incidents()
    incidents.take(raised("heater_failed_off", 10, priority=Priority.URGENT))
    updated = incidents.take(raised("under_limit", 20))
    assert isinstance(updated, IncidentUpdated)
    assert not updated.worsened
    assert updated.incident.cause == "heater_failed_off"


def test_it_ends_with_its_last_alarm():
    incidents = Incidents()
    incidents.take(raised("under_limit", 10))
    incidents.take(raised("under_danger_line", 20))
    assert incidents.take(returned("under_danger_line", 30)) is None
    ended = incidents.take(returned("under_limit", 40))
    assert isinstance(ended, IncidentEnded)
    assert ended.incident.ended_at_us == 40
    assert incidents.open_incidents == ()


@pytest.mark.parametrize(
    ("tank", "series", "is_same"),
    [("reef", "temperature", True), ("reef", "ph", False), ("nursery", "temperature", False)],
)
def test_only_alarms_of_one_tank_with_a_common_series_belong_together(tank, series, is_same):
    incidents = Incidents()
    incidents.take(raised("under_limit", 10))
    other = incidents.take(raised("probe_stuck", 20, tank=tank, series=series))
    assert isinstance(other, IncidentUpdated) is is_same


def test_a_board_that_is_gone_explains_its_silent_series():
    incidents = Incidents()
    incidents.take(raised("probe_silent", 10))
    incidents.take(raised("device_offline", 20, series="sump board", concerns=("temperature", "ph")))
    last = incidents.take(raised("probe_silent", 30, series="ph"))
    assert isinstance(last, IncidentUpdated)
    assert last.incident.cause == "device_offline"
    assert last.incident.series == ("temperature", "ph")
    assert len(last.incident.alarms) == 3


MINUTE = 60_000_000


@pytest.mark.parametrize(("apart", "is_same"), [(19, True), (20, True), (21, False)])
def test_probes_that_fall_silent_together_are_one_incident(apart, is_same):
    incidents = Incidents()
    incidents.take(raised("probe_silent", 100 * MINUTE))
    other = incidents.take(raised("probe_silent", (100 + apart) * MINUTE, series="ph"))
    assert isinstance(other, IncidentUpdated) is is_same


def test_a_lost_mains_power_takes_over_the_silence_of_all_boards_and_rings_once_more():
    incidents = Incidents()
    incidents.take(raised("device_offline", 10 * MINUTE, series="sump board", concerns=("temperature",)))
    incidents.take(raised("probe_silent", 15 * MINUTE, series="ph"))
    series = ("temperature", "ph", "sump_level")
    updated = incidents.take(
        raised("mains_power_lost", 16 * MINUTE, priority=Priority.URGENT, concerns=series)
    )
    assert isinstance(updated, IncidentUpdated)
    assert updated.worsened
    assert updated.incident.cause == "mains_power_lost"
    assert len(incidents.open_incidents) == 1


def test_silence_and_a_crossed_limit_of_another_series_stay_apart():
    incidents = Incidents()
    incidents.take(raised("probe_silent", 10 * MINUTE))
    assert isinstance(incidents.take(raised("under_limit", 10 * MINUTE, series="ph")), IncidentOpened)


def test_a_cause_that_takes_the_word_names_the_incident_and_rings_nobody():
    incidents = Incidents()
    incidents.take(raised("heater_failed_off", 10, priority=Priority.URGENT))
    joined = incidents.take(raised("heater_weak", 20, priority=Priority.URGENT, value=3.0))
    assert isinstance(joined, IncidentUpdated)
    assert joined.incident.cause == "heater_failed_off"
    renamed = incidents.take(returned("heater_failed_off", 20))
    assert isinstance(renamed, IncidentUpdated)
    assert not renamed.worsened
    assert renamed.incident.cause == "heater_weak"
    assert renamed.incident.evidence.value == 3.0


def test_a_limit_that_is_still_crossed_does_not_take_the_name_of_a_fault_that_is_over():
    incidents = Incidents()
    incidents.take(raised("heater_failed_off", 10))
    incidents.take(raised("under_limit", 20))
    assert incidents.take(returned("heater_failed_off", 30)) is None
    assert incidents.open_incidents[0].cause == "heater_failed_off"


def test_numbers_go_on_after_a_restart():
    incidents = Incidents()
    alarm = raised("under_limit", 10)
    opened = incidents.take(alarm)
    assert isinstance(opened, IncidentOpened)
    again = Incidents()
    again.restore([(opened.incident, [alarm])], 2)
    other = again.take(raised("over_limit", 20, series="ph"))
    assert isinstance(other, IncidentOpened)
    assert other.incident.number == 2
    assert isinstance(again.take(returned("under_limit", 30)), IncidentEnded)


def test_every_cause_has_its_own_code_and_says_what_it_watches():
    assert all(code == cause.code for code, cause in CAUSES.items())
    assert len({cause.title for cause in CAUSES.values()}) == len(CAUSES)
    assert all(len(cause.watches.split()) >= 4 for cause in CAUSES.values())


@pytest.mark.parametrize("lost", ["probe_silent", "device_offline"])
@pytest.mark.parametrize("crossed", ["over_danger_line", "under_limit"])
def test_a_probe_that_is_lost_after_a_crossing_does_not_take_its_name(lost, crossed):
    incidents = Incidents()
    incidents.take(raised(crossed, 10, value=30.4))
    updated = incidents.take(raised(lost, 20, value=None))
    assert isinstance(updated, IncidentUpdated)
    assert updated.incident.cause == crossed
    assert updated.incident.evidence.value == 30.4


def test_a_probe_that_gives_impossible_values_explains_the_limits_it_crossed():
    incidents = Incidents()
    incidents.take(raised("under_danger_line", 10))
    updated = incidents.take(raised("probe_out_of_range", 20))
    assert isinstance(updated, IncidentUpdated)
    assert updated.incident.cause == "probe_out_of_range"


def test_crossing_the_danger_line_rings_again_whoever_was_told_of_the_fault_and_only_once():
    incidents = Incidents()
    incidents.take(raised("heater_failed_off", 10, priority=Priority.URGENT))
    first = incidents.take(raised("under_danger_line", 20, priority=Priority.URGENT, value=20.9))
    assert isinstance(first, IncidentUpdated)
    assert first.worsened
    assert first.incident.evidence.value == 20.9
    assert first.incident.cause == "heater_failed_off"
    assert incidents.take(returned("under_danger_line", 30)) is None
    second = incidents.take(raised("under_danger_line", 40, priority=Priority.URGENT))
    assert isinstance(second, IncidentUpdated)
    assert not second.worsened


@pytest.mark.parametrize(
    ("at", "priority", "rings_again"),
    [
        (9 * MINUTE, Priority.URGENT, False),
        (11 * MINUTE, Priority.URGENT, True),
        (11 * MINUTE, Priority.HIGH, False),
    ],
    ids=["at the same instant", "later", "of a probe that shows no water"],
)
def test_a_danger_line_rings_again_only_where_it_says_more(at, priority, rings_again):
    incidents = Incidents()
    incidents.take(raised("probe_dry", 9 * MINUTE, priority=Priority.HIGH))
    incidents.take(raised("heater_failed_off", 9 * MINUTE, priority=Priority.URGENT))
    updated = incidents.take(raised("under_danger_line", at, priority=priority))
    assert updated.worsened is rings_again


def test_what_has_returned_swallows_nothing_that_comes_later():
    incidents = Incidents()
    incidents.take(raised("mains_power_lost", 10, priority=Priority.URGENT, concerns=("temperature", "ph")))
    incidents.take(raised("probe_silent", 20, series="ph"))
    incidents.take(returned("mains_power_lost", 30))
    later = incidents.take(raised("heater_stuck_on", 40, priority=Priority.URGENT))
    assert isinstance(later, IncidentOpened)


def test_an_urgent_alarm_rings_again_where_only_a_lesser_one_was_still_standing():
    incidents = Incidents()
    incidents.take(raised("heater_failed_off", 10, priority=Priority.URGENT))
    incidents.take(raised("probe_noisy", 20))
    incidents.take(returned("heater_failed_off", 30))
    later = incidents.take(raised("heater_stuck_on", 40, priority=Priority.URGENT))
    assert isinstance(later, IncidentUpdated)
    assert later.worsened


def test_the_danger_line_on_the_other_side_rings_too():
    incidents = Incidents()
    incidents.take(raised("probe_noisy", 10))
    first = incidents.take(raised("over_danger_line", 20, priority=Priority.URGENT))
    assert first.worsened
    incidents.take(returned("over_danger_line", 30))
    other = incidents.take(raised("under_danger_line", 40, priority=Priority.URGENT))
    assert other.worsened
