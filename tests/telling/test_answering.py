"""What people ask about alarms, what becomes of it, and what they are told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.alarm_requests import (
    Acknowledge,
    AnswerTestRing,
    Reset,
    ReturnToService,
    Shelve,
    TakeOutOfService,
    Unshelve,
)
from rules import Priority
from tests.telling.parts import HOUR, MINUTE, NOON, Played, at, key, person

HIGH = Priority.HIGH


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (Acknowledge("", 9), "there is no incident 9 that waits for anything: look at the list of incidents"),
        (Acknowledge("reff", 1), "there is no tank 'reff': one of reef"),
        (
            Acknowledge("reef", series="pH"),
            "there is no series 'pH' in reef: one of ph, salinity, temperature",
        ),
        (Acknowledge("reef", series="ph"), "no alarm of ph in reef is active"),
        (
            Acknowledge("reef", series="ph", cause="leek"),
            "there is no cause 'leek': `brinebell causes` lists them",
        ),
        (Shelve("", 1, until_us=NOON), "Wed 12:00 is over: say how long from now"),
        (Shelve("", 1, until_us=NOON + 25 * HOUR), "nothing is shelved for longer than 24 h"),
        (Unshelve("", 1), "nothing of incident 1 is shelved"),
        (ReturnToService("reef", series="ph"), "ph in reef is in service"),
        (AnswerTestRing(), "no test ring waits for an answer"),
    ],
    ids=lambda one: str(one)[:40],
)
def test_what_cannot_be_done_is_said_with_the_mend_and_changes_nothing(asked, said):
    played = Played()
    played.raise_()
    before = dict(played.recorded.lives), dict(played.recorded.tellings)
    answer = played.ask(asked)
    assert answer == ("1", False, said)
    assert (played.recorded.lives, played.recorded.tellings) == before


def test_who_comes_second_is_told_who_came_first():
    played = Played()
    played.raise_()
    assert played.ask(Acknowledge("", 1)).text == (
        "acknowledged: heater failed off (temperature); it rings again if it gets worse"
    )
    played.now_us += MINUTE
    assert (
        played.ask(Acknowledge("", 1), who="kim").text == "incident 1 is acknowledged since Wed 12:00 by sam"
    )


def test_acknowledging_an_incident_acknowledges_all_of_its_alarms():
    played = Played()
    played.raise_("over_limit", HIGH)
    played.raise_("heater_stuck_on")
    played.ask(Acknowledge("", 1, why="the thermostat stuck"))
    assert {life.state.value for life in played.desk.lives.states.values()} == {"acknowledged"}


def test_one_alarm_of_two_acknowledged_leaves_the_incident_ringing():
    played = Played()
    played.raise_("over_limit", HIGH)
    played.raise_("heater_stuck_on")
    played.ask(Acknowledge("reef", series="temperature", cause="over_limit"))
    assert played.state() == "unacknowledged"
    played.ask(Acknowledge("reef", series="temperature"))
    assert played.state() == "acknowledged"


def test_an_alarm_of_the_same_step_is_not_covered_by_the_acknowledgement():
    """facts: an acknowledgement is processed before a new activation, which stays unacknowledged."""
    played = Played()
    played.raise_()
    played.now_us += MINUTE
    played.ask(Acknowledge("", 1))
    played.raise_("under_danger_line")
    assert played.desk.lives[key("heater_failed_off")].state.value == "acknowledged"
    assert played.desk.lives[key("under_danger_line")].state.value == "unacknowledged"


def test_until_morning_is_the_end_of_the_first_persons_night():
    played = Played(now_us=at("2026-05-06 23:00"))
    played.raise_()
    assert played.ask(Shelve("", 1)).text.startswith("shelved until Thu 07:00: ")


def test_unshelved_what_is_still_wrong_rings():
    played = Played()
    played.raise_()
    played.ask(Shelve("", 1, until_us=NOON + HOUR))
    played.pass_(10 * MINUTE)
    assert played.ask(Unshelve("", 1)).is_done
    assert played.told[-1] == ("12:10", "sam", "back")


def test_what_joins_a_shelved_incident_is_shelved_with_it():
    played = Played()
    played.raise_()
    played.ask(Shelve("", 1, until_us=NOON + HOUR))
    played.pass_(10 * MINUTE)
    played.raise_("under_limit", HIGH)
    assert [one.kind for one in played.told] == ["opened"]
    played.pass_(50 * MINUTE)
    assert played.told[-1] == ("13:00", "sam", "back")


def test_a_probe_out_of_service_rings_for_nothing_until_it_is_returned():
    played = Played()
    answer = played.ask(TakeOutOfService("reef", series="temperature", why="new cable"))
    assert answer.text == (
        "out of service: temperature in reef. None of its alarms rings, danger lines included, until you "
        "return it to service"
    )
    played.restart()
    played.raise_("under_danger_line")
    played.pass_(HOUR)
    assert played.told == []
    assert played.state() == "out of service"
    # Another series rings as ever.
    played.raise_("over_limit", HIGH, series="ph")
    assert [one.person for one in played.told] == ["sam"]
    assert played.ask(ReturnToService("reef", series="temperature")).is_done
    assert played.told[-1] == ("13:00", "sam", "opened")


def test_what_rings_is_silenced_by_taking_it_out_of_service():
    played = Played()
    played.raise_()
    played.ask(TakeOutOfService("", 1))
    played.pass_(HOUR)
    assert [one.kind for one in played.told] == ["opened"]
    assert played.state() == "out of service"


def test_suppressed_by_design_is_shown_and_ends_with_the_work():
    played = Played()
    alarm = key("under_limit", "salinity")
    played.desk.suppress([alarm], NOON)
    assert played.desk.lives[alarm].state.value == "suppressed by design"
    played.desk.suppress([], NOON + HOUR)
    assert played.desk.lives[alarm].state.value == "normal"
    played.commit()
    assert [life.state.value for life in played.recorded.lives.values()] == ["normal"]


def test_what_is_wrong_behind_the_work_rings_whichever_is_heard_first():
    """The engine may raise an alarm just before the desk hears that the work no longer suppresses it."""
    for is_heard_first in (True, False):
        played = Played()
        alarm = key()
        played.desk.suppress([alarm], played.now_us)
        played.pass_(HOUR)
        if is_heard_first:
            played.desk.suppress([], played.now_us)
        played.raise_()
        if not is_heard_first:
            assert played.state() == "suppressed by design"
            assert played.told == []
            played.desk.suppress([], played.now_us)
        played.pass_(MINUTE)
        assert [one.kind for one in played.told] == ["opened"]
        assert played.state() == "unacknowledged"


def latching() -> Played:
    """A tank whose temperature latches."""
    played = Played()
    series = tuple(replace(one, tank="reef", latches=True) for one in played.configuration.series)
    played.configuration = replace(played.configuration, series=series)
    played.restart()
    return played


def test_what_latches_stays_until_it_is_reset():
    """The path of the standard: unacknowledged, returned, acknowledged, and latched until the reset."""
    played = latching()
    played.raise_()
    assert "nothing of incident 1 is latched" in played.ask(Reset("", 1)).text
    played.return_()
    assert played.state() == "latched, unacknowledged"
    assert played.ask(Acknowledge("", 1)).is_done
    assert played.state() == "latched"
    played.pass_(30 * HOUR)
    played.restart()
    played.pass_(30 * HOUR)
    assert played.state() == "latched"
    assert played.ask(Reset("", 1)).text.startswith("reset: heater failed off (temperature)")
    assert played.state() == "normal"
    assert played.recorded.lives[key()].state.value == "normal"
    played.pass_(MINUTE)
    assert [one.kind for one in played.told] == ["opened", "ended"]


def test_a_reset_says_that_it_was_seen_and_needs_no_number():
    played = latching()
    played.raise_()
    played.return_()
    assert played.ask(Reset("reef", series="temperature")).is_done
    assert played.state() == "normal"
    assert played.recorded.tellings[1].who == "sam"


def test_a_reset_while_its_condition_is_there_does_nothing():
    played = latching()
    played.raise_()
    played.ask(Acknowledge("", 1))
    assert not played.ask(Reset("", 1)).is_done
    assert played.state() == "acknowledged"


def test_what_is_latched_and_comes_again_rings_again():
    played = latching()
    played.raise_()
    played.ask(Acknowledge("", 1))
    played.return_()
    assert played.state() == "latched"
    played.pass_(HOUR)
    played.raise_()
    assert [one.kind for one in played.told] == ["opened", "ended", "opened"]
    assert played.state(2) == "unacknowledged"
    # The first incident has nothing left that could be reset.
    assert played.state(1) == "normal"


def test_what_latches_no_more_is_let_go():
    played = latching()
    played.raise_()
    played.return_()
    series = tuple(replace(one, latches=False) for one in played.configuration.series)
    played.configuration = replace(played.configuration, series=series)
    played.restart()
    assert played.desk.lives[key()].state.value == "returned to normal, unacknowledged"
    played.raise_()
    assert played.desk.lives[key()].state.value == "unacknowledged"


def test_nobodys_morning_is_no_end():
    played = Played(person("sam"))
    played.people = ()
    played.restart()
    played.raise_()
    assert "say how long" in played.ask(Shelve("", 1)).text
