"""Laws of telling, for any sequence of events, answers, restarts and time."""

from __future__ import annotations

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.alarm_requests import (
    Acknowledge,
    ReturnToService,
    Shelve,
    TakeOutOfService,
    Unshelve,
)
from rules import AlarmState, Priority
from tests.examples import few
from tests.telling.parts import HOUR, MINUTE, Played, at, key, person

CAUSES = {
    "heater_failed_off": Priority.URGENT,
    "under_limit": Priority.HIGH,
    "under_danger_line": Priority.URGENT,
    "probe_drifting": Priority.LOW,
}
SERIES = ("temperature", "ph")
_CAUSE, _SERIES = st.sampled_from(sorted(CAUSES)), st.sampled_from(SERIES)
_NUMBER = st.integers(1, 4)


def _raise(played: Played, cause: str, series: str) -> None:
    if key(cause, series) not in played.recorded.alarms:
        played.raise_(cause, CAUSES[cause], series=series)


def _return(played: Played, cause: str, series: str) -> None:
    if key(cause, series) in played.recorded.alarms:
        played.return_(cause, series)


steps = st.one_of(
    st.builds(lambda cause, series: lambda played: _raise(played, cause, series), _CAUSE, _SERIES),
    st.builds(lambda cause, series: lambda played: _return(played, cause, series), _CAUSE, _SERIES),
    st.builds(lambda number: lambda played: played.ask(Acknowledge("", number)), _NUMBER),
    st.builds(
        lambda number, minutes: (
            lambda played: played.ask(Shelve("", number, until_us=played.now_us + minutes * MINUTE))
        ),
        _NUMBER,
        st.integers(1, 600),
    ),
    st.builds(lambda number: lambda played: played.ask(Unshelve("", number)), _NUMBER),
    st.builds(lambda series: lambda played: played.ask(TakeOutOfService("reef", series=series)), _SERIES),
    st.builds(lambda series: lambda played: played.ask(ReturnToService("reef", series=series)), _SERIES),
    st.integers(1, 900).map(lambda minutes: lambda played: played.pass_(minutes * MINUTE)),
    st.just(Played.restart),
)
away = st.lists(
    st.integers(1, 20).map(lambda day: (date(2026, 5, day), date(2026, 5, day + 5))), max_size=2
).map(tuple)
people = st.lists(
    st.builds(
        lambda at_night, away, night: {"rings_at_night": frozenset(at_night), "away": away, "night": night},
        st.sets(st.sampled_from(list(Priority))),
        away,
        st.sampled_from([(22 * 60, 7 * 60), (0, 0), (9 * 60, 17 * 60), (1, 0)]),
    ),
    min_size=1,
    max_size=3,
).map(lambda found: tuple(person(f"p{n}", **one) for n, one in enumerate(found)))
# Also over both nights in which the clock changes.
starts = st.sampled_from(["2026-05-06 12:00", "2026-03-28 21:00", "2026-10-24 23:30"]).map(at)


def told_in_vain(played: Played, number: int) -> bool:
    """Whether everybody has been told since it rang, but who was away at some time meanwhile."""
    rung_us = played.desk.threads[number].rung_us
    told = {
        one.person for one in played.messages if one.incident in (number, None) and one.created_us >= rung_us
    }
    instants = [*range(rung_us, played.now_us, HOUR), played.now_us]
    return all(
        one.name in told or any(one.is_away(at_us, played.zone) for at_us in instants)
        for one in played.people
    )


@settings(max_examples=few(300), deadline=None)
@given(people, starts, st.lists(steps, max_size=25))
def test_no_urgent_alarm_is_ever_silently_lost(people, start_us, played_steps):
    played = Played(*people, now_us=start_us)
    for step in played_steps:
        step(played)
        for alarm in played.recorded.alarms:
            life = played.desk.lives[alarm]
            assert life.is_active
            if life.state is not AlarmState.UNACKNOWLEDGED:
                continue
            (number,) = played.desk.numbers_of([alarm])
            thread = played.desk.threads[number]
            assert thread.is_ringing
            if CAUSES[alarm.cause] is Priority.URGENT:
                assert thread.priority is Priority.URGENT
                next_us = thread.progress.next_us
                assert told_in_vain(played, number) if next_us is None else next_us > played.now_us


@settings(max_examples=few(200), deadline=None)
@given(people, starts, st.lists(steps, max_size=25))
def test_nobody_is_rung_twice_in_a_step_nor_for_what_is_in_hand(people, start_us, played_steps):
    played = Played(*people, now_us=start_us)
    for step in played_steps:
        before = len(played.messages)
        was_ringing = {number: one.is_ringing for number, one in played.desk.threads.items()}
        step(played)
        new = played.messages[before:]
        keys = [(one.created_us, one.person, one.incident, one.channel) for one in new if one.kind != "ended"]
        assert len(keys) == len(set(keys))
        begun = {number for number, is_ringing in was_ringing.items() if is_ringing}
        for one in new:
            # A shelving may end, and ring anew, within the step.
            if one.kind in ("again", "next") and one.incident not in begun:
                raise AssertionError(f"{one.kind} of incident {one.incident}, which nobody waits to hear of")
            if one.kind in ("opened", "worsened", "back"):
                begun.add(one.incident)
    for number, thread in played.desk.threads.items():
        if thread.answer or thread.ended_us is not None:
            assert not played.desk.is_unacknowledged(number) or thread.ended_us is not None


@settings(max_examples=few(200), deadline=None)
@given(people, starts, st.lists(steps, max_size=20), st.integers(0, 20))
def test_a_restart_changes_nothing_that_is_told(people, start_us, played_steps, place):
    through, killed = Played(*people, now_us=start_us), Played(*people, now_us=start_us)
    for position, step in enumerate(played_steps):
        step(through)
        if position == place:
            killed.restart()
        step(killed)
    for played in (through, killed):
        played.pass_(30 * HOUR)
    assert killed.told == through.told
    assert {n: one.state for n, one in killed.recorded.tellings.items()} == {
        n: one.state for n, one in through.recorded.tellings.items()
    }


@settings(max_examples=few(100), deadline=None)
@given(people, starts, st.lists(steps, max_size=20))
def test_what_waits_for_a_morning_is_one_message_a_person_and_morning(people, start_us, played_steps):
    played = Played(*people, now_us=start_us)
    for step in played_steps:
        step(played)
    played.pass_(30 * HOUR)
    mornings = [(one.person, one.created_us) for one in played.messages if one.kind == "morning"]
    assert len(mornings) == len(set(mornings))


def test_the_laws_see_urgent_alarms_that_ring_in_vain():
    """The first law's second way out is reached: without it, the law would say more than is so."""
    played = Played(person("sam"))
    played.raise_()
    played.pass_(24 * HOUR)
    assert played.desk.threads[1].progress.next_us is None
    assert told_in_vain(played, 1)
