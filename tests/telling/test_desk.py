"""Who was told what and when, for alarms that come, get worse, come and go, and end."""

from __future__ import annotations

from datetime import date

import pytest

from collector.alarm_requests import Acknowledge, Shelve
from collector.links import Link, Links
from collector.telling.desk import MOST_NAMES
from rules import Priority
from tests.telling.parts import HOUR, MINUTE, NOON, SECOND, Played, at, person

NIGHT = at("2026-05-06 22:30")
LATE = at("2026-05-06 23:40")
HIGH, LOW, URGENT = Priority.HIGH, Priority.LOW, Priority.URGENT


def test_an_urgent_incident_rings_one_person_three_times_and_then_the_next():
    played = Played()
    played.raise_()
    played.pass_(29 * MINUTE)
    assert played.told == [
        ("12:00", "sam", "opened"),
        ("12:05", "sam", "again"),
        ("12:10", "sam", "again"),
        ("12:15", "kim", "next"),
        ("12:20", "kim", "again"),
        ("12:25", "kim", "again"),
    ]


def test_the_steps_go_on_across_midnight_and_end_when_everybody_was_told_four_times_in_vain():
    played = Played(now_us=LATE)
    played.raise_()
    played.pass_(24 * HOUR)
    assert [one.at for one in played.told] == [
        f"{hour % 24:02}:{minute:02}"
        for hour, minute in (divmod(23 * 60 + 40 + step, 60) for step in range(0, 120, 5))
    ]
    assert [one.person for one in played.told] == 4 * (3 * ["sam"] + 3 * ["kim"])
    assert played.state() == "unacknowledged"


def test_acknowledging_stops_everything_and_says_by_whom():
    played = Played()
    played.raise_()
    played.pass_(7 * MINUTE)
    answer = played.ask(Acknowledge("", 1))
    assert answer.is_done
    played.pass_(24 * HOUR)
    assert [one.kind for one in played.told] == ["opened", "again"]
    record = played.recorded.tellings[1]
    assert (record.state, record.who, record.at_us) == ("acknowledged", "sam", NOON + 7 * MINUTE)
    # What waits to be delivered at that instant is taken back, the end excepted.
    assert played.withdrawals[-1].incident == 1
    assert not played.withdrawals[-1].is_waiting
    assert "ended" not in played.withdrawals[-1].kinds


def test_the_return_to_normal_is_told_once_and_quietly_to_who_was_told():
    played = Played()
    played.raise_()
    played.pass_(7 * MINUTE)
    played.ask(Acknowledge("", 1), who="kim")
    played.pass_(HOUR)
    played.return_()
    played.pass_(24 * HOUR)
    assert played.told[2:] == [("13:07", "sam", "ended")]
    assert played.messages[-1].priority is LOW
    assert played.state() == "normal"


def test_what_returns_before_anybody_answers_stays_unacknowledged_until_somebody_does():
    played = Played()
    played.raise_()
    played.return_()
    assert played.state() == "returned to normal, unacknowledged"
    played.pass_(5 * 24 * HOUR)
    played.restart()
    assert played.ask(Acknowledge("", 1)).is_done
    assert played.state() == "normal"


def test_what_joins_without_making_it_worse_is_quiet():
    played = Played()
    played.raise_()
    played.pass_(2 * MINUTE)
    played.raise_("under_limit", HIGH)
    assert [one.kind for one in played.told] == ["opened"]


def test_what_joins_an_acknowledged_incident_without_making_it_worse_is_taken_for_seen():
    played = Played()
    played.raise_()
    played.ask(Acknowledge("", 1))
    played.raise_("under_limit", HIGH)
    played.pass_(24 * HOUR)
    assert [one.kind for one in played.told] == ["opened"]
    assert {life.state.value for life in played.desk.lives.states.values()} == {"acknowledged"}


def test_a_ring_says_how_to_answer_it_and_what_needs_no_answer_does_not():
    played = Played()
    played.raise_(priority=Priority.HIGH)
    played.ask(Acknowledge("", 1))
    played.raise_("mains_power_lost", Priority.HIGH)
    played.return_("heater_failed_off")
    played.return_("mains_power_lost")
    assert [one.kind for one in played.messages] == ["opened", "renamed", "ended"]
    assert [one.body.partition("\n")[2] for one in played.messages] == ["brinebell acknowledge 1", "", ""]


def test_with_an_address_for_phones_a_ring_carries_the_link_of_its_person():
    played = Played()
    played.links = Links(bytes(32), "https://tank.example.org")
    played.restart()
    played.raise_()
    played.pass_(20 * MINUTE)
    for one in played.messages:
        address = one.body.rpartition("\n")[2]
        assert address.startswith("https://tank.example.org/answer/")
        assert played.links.read(address.rpartition("/")[2], played.now_us) == Link(one.person, 1)
        # Delivery adds five words at most.
        assert len(one.body.split()) <= 35
    assert {one.person for one in played.messages} == {"sam", "kim"}


def test_a_likelier_cause_is_told_quietly_where_no_ring_goes_on_to_say_it():
    """The engine names an incident by its surest cause; here a limit, then the fault behind it."""
    played = Played()
    played.raise_("over_limit", Priority.HIGH)
    played.ask(Acknowledge("", 1))
    played.pass_(MINUTE)
    played.raise_("heater_stuck_on", Priority.HIGH)
    assert [(one.person, one.kind, one.priority) for one in played.messages[1:]] == [
        ("sam", "renamed", Priority.LOW)
    ]
    assert played.messages[-1].title.startswith("Heater stuck on: ")
    assert played.messages[-1].body.startswith("Looks like this now. ")
    assert played.state() == "acknowledged"
    # The same name again is no news.
    played.pass_(MINUTE)
    played.raise_("changing_fast", Priority.HIGH)
    assert len(played.messages) == 2


def test_a_likelier_cause_waits_for_the_next_ring_where_one_is_to_come():
    played = Played()
    played.raise_("over_limit")
    played.raise_("heater_stuck_on")
    assert [one.kind for one in played.told] == ["opened"]
    played.pass_(6 * MINUTE)
    assert [one.kind for one in played.told] == ["opened", "again"]
    assert played.messages[-1].title.startswith("Heater stuck on: ")


def test_many_names_of_one_incident_are_told_three_times_at_most():
    played = Played()
    played.raise_("over_limit", Priority.HIGH)
    played.ask(Acknowledge("", 1))
    for cause in ("probe_noisy", "heater_stuck_on", "mains_power_lost"):
        played.raise_(cause, Priority.HIGH)
        played.pass_(MINUTE)
    for _ in range(3):
        for cause in ("mains_power_lost", "heater_stuck_on"):
            played.return_(cause)
            played.raise_(cause, Priority.HIGH)
            played.pass_(MINUTE)
    assert [one.kind for one in played.told].count("renamed") == MOST_NAMES


def test_a_crossed_danger_line_rings_again_after_acknowledgement_from_the_first_person_on():
    played = Played()
    played.raise_()
    played.pass_(15 * MINUTE)
    played.ask(Acknowledge("", 1), who="kim")
    played.pass_(30 * MINUTE)
    played.raise_("under_danger_line", URGENT)
    played.pass_(5 * MINUTE)
    assert played.told[-2:] == [("12:45", "sam", "worsened"), ("12:50", "sam", "again")]
    assert played.state() == "unacknowledged"


def test_a_higher_priority_rings_again_after_acknowledgement():
    played = Played()
    played.raise_("over_limit", HIGH)
    played.ask(Acknowledge("", 1))
    played.pass_(HOUR)
    played.raise_("heater_stuck_on", URGENT)
    assert played.told == [("12:00", "sam", "opened"), ("13:00", "sam", "worsened")]


@pytest.mark.parametrize(("left_min", "is_told"), [(211, False), (150, False), (91, False), (90, True)])
def test_a_danger_line_that_is_much_nearer_than_was_told_rings_again(left_min, is_told):
    played = Played()
    played.raise_("heater_failed_off", danger_at_us=NOON + 4 * HOUR)
    played.ask(Acknowledge("", 1))
    played.pass_(HOUR)
    played.raise_("mains_power_lost", danger_at_us=played.now_us + left_min * MINUTE)
    # Where no danger is nearer, the likelier cause is all that is told.
    assert played.told[1:] == [("13:00", "sam", "worsened" if is_told else "renamed")]


def test_high_waits_for_the_morning_and_low_too():
    played = Played(now_us=NIGHT)
    played.raise_("over_limit", HIGH)
    played.raise_("probe_drifting", LOW, series="ph")
    played.pass_(9 * HOUR)
    (one, *rest) = played.messages
    assert (played.clock(one.created_us), one.person, one.kind, one.priority) == (
        "07:00",
        "sam",
        "morning",
        HIGH,
    )
    assert rest == []
    assert one.title == "Waited for the morning: 2 alarms"
    assert one.body.startswith("High: ")
    assert "Low: " in one.body


def test_a_single_alarm_that_still_stands_in_the_morning_reads_as_by_day():
    played = Played(now_us=NIGHT)
    played.raise_("over_limit", HIGH)
    played.pass_(9 * HOUR)
    assert played.told == [("07:00", "sam", "opened")]


def test_what_came_and_went_at_night_is_told_in_the_morning_and_not_before():
    played = Played(now_us=NIGHT)
    played.raise_("over_limit", HIGH)
    played.pass_(HOUR)
    played.return_("over_limit")
    played.pass_(24 * HOUR)
    assert played.told == [("07:00", "sam", "morning")]
    assert played.messages[0].title == "Waited for the morning: 1 alarm, over by now"


def test_what_was_seen_at_night_is_not_told_in_the_morning():
    played = Played(now_us=NIGHT)
    played.raise_("over_limit", HIGH)
    played.ask(Acknowledge("", 1))
    played.pass_(24 * HOUR)
    assert played.told == []


def test_what_waits_rings_at_once_when_it_becomes_urgent():
    played = Played(now_us=NIGHT)
    played.raise_("over_limit", HIGH)
    played.pass_(HOUR)
    played.raise_("heater_stuck_on", URGENT)
    assert played.told == [("23:30", "sam", "opened")]


def test_who_lets_high_ring_at_night_is_rung_before_who_does_not():
    both = frozenset({URGENT, HIGH})
    played = Played(person("sam"), person("kim", rings_at_night=both), now_us=NIGHT)
    played.raise_("over_limit", HIGH)
    assert played.told == [("22:30", "kim", "opened")]


def test_who_lets_nothing_ring_at_night_is_told_in_the_morning_if_nobody_else_may_be_rung():
    played = Played(person("sam", rings_at_night=frozenset()), now_us=NIGHT)
    played.raise_()
    played.pass_(9 * HOUR)
    assert played.told[0] == ("07:00", "sam", "opened")


def test_who_is_away_is_passed_over():
    may = ((date(2026, 5, 3), date(2026, 5, 17)),)
    played = Played(person("sam", away=may), person("kim"))
    played.raise_()
    played.pass_(20 * MINUTE)
    assert {one.person for one in played.told} == {"kim"}


def test_if_everybody_is_away_everybody_counts_as_present():
    may = ((date(2026, 5, 3), date(2026, 5, 17)),)
    played = Played(person("sam", away=may), person("kim", away=may))
    played.raise_()
    played.pass_(15 * MINUTE)
    assert [one.person for one in played.told] == ["sam", "sam", "sam", "kim"]
    assert {one.person for one in played.told} == {"sam", "kim"}


def test_who_leaves_in_the_middle_of_the_steps_is_told_no_more():
    played = Played(
        person("sam", away=((date(2026, 5, 7), date(2026, 5, 17)),)),
        person("kim"),
        now_us=at("2026-05-06 23:55"),
    )
    played.raise_()
    played.pass_(15 * MINUTE)
    assert played.told == [
        ("23:55", "sam", "opened"),
        ("00:00", "kim", "next"),
        ("00:05", "kim", "again"),
        ("00:10", "kim", "again"),
    ]


def test_low_is_told_once_to_one_person():
    played = Played()
    played.raise_("probe_drifting", LOW)
    played.pass_(5 * 24 * HOUR)
    assert played.told == [("12:00", "sam", "opened")]


def test_high_is_repeated_once_and_then_told_to_the_next_person_and_none_of_it_by_night():
    played = Played()
    played.raise_("over_limit", HIGH)
    played.pass_(3 * 24 * HOUR)
    assert played.told == [
        ("12:00", "sam", "opened"),
        ("15:00", "sam", "again"),
        ("18:00", "kim", "next"),
        ("21:00", "kim", "again"),
    ]


def test_a_repetition_that_falls_into_the_night_waits_for_the_morning():
    played = Played(person("sam"), now_us=at("2026-05-06 20:00"))
    played.raise_("over_limit", HIGH)
    played.pass_(24 * HOUR)
    assert played.told == [("20:00", "sam", "opened"), ("07:00", "sam", "again")]


def test_each_priority_goes_over_its_own_channels():
    channels = {URGENT: ("call", "push"), HIGH: ("push",), LOW: ()}
    played = Played(person("sam"))
    played.people = (type(played.people[0])("sam", channels),)
    played.restart()
    played.raise_()
    assert [one.channel for one in played.messages] == ["call", "push"]
    # Whoever was woken is told the end, too, over whatever there is.
    played.return_()
    assert [one.channel for one in played.messages[2:]] == ["call", "push"]


def test_nobody_to_tell_is_nobody_told_and_the_state_is_kept():
    played = Played(person("sam", channels=()))
    played.raise_()
    played.pass_(HOUR)
    assert played.told == []
    assert played.state() == "unacknowledged"


def test_an_alarm_that_comes_and_goes_rings_three_times_an_hour_and_no_oftener():
    """Chattering: ISA-18.2 and EEMUA 191 name it an ill of alarm systems; the numbers are ours."""
    played = Played(person("sam"), repeat_us=2 * HOUR, next_us=12 * HOUR)
    for _ in range(60):
        played.raise_("contact_alarm", series="floor")
        played.pass_(30 * SECOND)
        played.return_("contact_alarm", "floor")
        played.pass_(90 * SECOND)
    rings = [one.at for one in played.told if one.kind != "ended"]
    assert rings[:3] == ["12:00", "12:02", "12:04"]
    assert len(rings) <= 6
    # It is not lost: what stands after the hour rings.
    played.raise_("contact_alarm", series="floor")
    played.pass_(HOUR)
    assert [one.kind for one in played.told[-1:]] == ["opened"]


def test_a_flood_of_alarms_of_one_incident_is_one_ring():
    played = Played()
    played.raise_()
    for cause in ("under_limit", "changing_fast", "probe_noisy", "heater_weak", "probe_drifting"):
        for _ in range(10):
            played.now_us += SECOND
            played.raise_(cause, HIGH)
            played.return_(cause)
    assert [one.kind for one in played.told] == ["opened"]


@pytest.mark.parametrize("minutes", [0, 4, 5, 9, 14, 15, 31, 200])
def test_a_restart_loses_no_step_and_repeats_none(minutes):
    through, killed = Played(), Played()
    for played in (through, killed):
        played.raise_()
        played.pass_(minutes * MINUTE)
    killed.restart()
    for played in (through, killed):
        played.pass_(24 * HOUR)
    assert killed.told == through.told


def test_what_was_missed_while_the_service_was_away_is_one_step_and_not_ten():
    played = Played()
    played.raise_()
    played.now_us += HOUR
    played.restart()
    played.commit()
    assert played.told == [("12:00", "sam", "opened"), ("13:00", "kim", "next")]


def test_shelving_stops_it_until_its_end_and_then_it_rings_anew():
    played = Played()
    played.raise_()
    answer = played.ask(Shelve("", 1, until_us=NOON + HOUR))
    assert answer.text.startswith("shelved until Wed 13:00: ")
    assert played.state() == "shelved"
    played.restart()
    played.pass_(65 * MINUTE)
    assert played.told == [("12:00", "sam", "opened"), ("13:00", "sam", "back"), ("13:05", "sam", "again")]
    assert played.state() == "unacknowledged"


def test_what_gets_worse_rings_although_it_is_shelved():
    played = Played()
    played.raise_("over_limit", HIGH)
    played.ask(Shelve("", 1, until_us=NOON + HOUR))
    played.pass_(10 * MINUTE)
    played.raise_("over_danger_line", URGENT)
    assert played.told == [("12:00", "sam", "opened"), ("12:10", "sam", "worsened")]


def test_what_is_over_when_shelving_ends_stays_quiet():
    played = Played()
    played.raise_()
    played.ask(Shelve("", 1, until_us=NOON + HOUR))
    played.pass_(30 * MINUTE)
    played.return_()
    played.pass_(24 * HOUR)
    assert [one.kind for one in played.told] == ["opened", "ended"]


def test_a_clock_that_is_set_back_does_not_put_off_the_next_ring():
    """A Raspberry Pi without network starts in the past; common practice, no source."""
    played = Played()
    played.raise_()
    played.now_us -= 3 * 24 * HOUR
    played.restart()
    played.commit()
    assert [one.kind for one in played.told] == ["opened", "again"]


def test_a_step_that_is_ahead_is_not_taken_for_one_of_a_clock_that_was_set_back():
    played = Played(person("sam"), next_us=24 * HOUR, repeat_us=24 * HOUR)
    played.raise_()
    played.now_us += HOUR
    played.commit()
    assert [one.kind for one in played.told] == ["opened"]


def test_the_same_alarm_raised_again_with_a_higher_priority_rings_although_it_was_seen():
    played = Played()
    played.raise_("leak", HIGH)
    played.ask(Acknowledge("", 1))
    played.pass_(HOUR)
    played.raise_("leak", URGENT)
    assert played.told == [("12:00", "sam", "opened"), ("13:00", "sam", "worsened")]
    assert played.state() == "unacknowledged"


def test_the_same_alarm_raised_again_with_a_higher_priority_ends_its_shelving():
    played = Played()
    played.raise_("leak", HIGH)
    played.ask(Shelve("", 1, until_us=NOON + 5 * HOUR))
    played.pass_(HOUR)
    played.raise_("leak", URGENT)
    assert played.told[1:] == [("13:00", "sam", "worsened")]
