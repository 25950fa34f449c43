"""The test ring: when, for whom, and what is told when nobody answers it."""

from __future__ import annotations

from datetime import date

import pytest

from collector.alarm_requests import AnswerTestRing
from rules import Priority
from tests.telling.parts import HOUR, Played, at, person

# A Wednesday; the first Saturdays are 6 June, 4 July and 1 August.
START = at("2026-05-06 12:00")


def rings(played: Played) -> list[tuple[str, str, str]]:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    return [
        (
            datetime.fromtimestamp(one.created_us / 1e6, ZoneInfo(played.zone)).strftime("%d %b %H:%M"),
            one.person,
            one.kind,
        )
        for one in played.messages
    ]


def played_from(*people, start_us: int = START, **telling) -> Played:
    return Played(*people, now_us=start_us, **({"test_ring": "monthly"} | telling))


def test_everybody_is_rung_on_the_first_saturday_of_a_month_and_nothing_follows_an_answer():
    played = played_from()
    played.until(at("2026-06-06 12:00"))
    assert rings(played) == [("06 Jun 11:00", "sam", "test"), ("06 Jun 11:00", "kim", "test")]
    assert {one.priority for one in played.messages} == {Priority.URGENT}
    assert played.ask(AnswerTestRing()).text == "the test ring of sam, kim is answered"
    played.until(at("2026-07-03 12:00"))
    assert len(played.messages) == 2
    played.until(at("2026-07-04 11:00"))
    assert rings(played)[2:] == [("04 Jul 11:00", "sam", "test"), ("04 Jul 11:00", "kim", "test")]


def test_without_an_answer_everybody_is_told_once_over_every_channel():
    sam = person("sam")
    sam = type(sam)("sam", {Priority.URGENT: ("call",), Priority.HIGH: ("push",), Priority.LOW: ("mail",)})
    played = played_from(sam, person("kim"))
    played.until(at("2026-06-06 12:00"))
    assert played.ask(AnswerTestRing(person="kim"), who="kim").is_done
    played.until(at("2026-06-20 12:00"))
    told = [(one.person, one.channel) for one in played.messages if one.kind == "test_missed"]
    assert told == [("sam", "call"), ("sam", "push"), ("sam", "mail"), ("kim", "push")]
    (first, *_) = (one for one in played.messages if one.kind == "test_missed")
    assert first.created_us == at("2026-06-06 15:00")
    assert first.title == "Test ring not answered: sam"


def test_an_answer_after_that_is_taken_all_the_same_and_once():
    played = played_from(person("sam"))
    played.until(at("2026-06-08 12:00"))
    assert played.ask(AnswerTestRing()).is_done
    assert not played.ask(AnswerTestRing()).is_done


def test_who_is_away_is_tested_when_back():
    played = played_from(person("sam", away=((date(2026, 6, 1), date(2026, 6, 10)),)))
    played.until(at("2026-06-12 12:00"))
    assert rings(played)[0] == ("11 Jun 11:00", "sam", "test")


def test_nobody_is_tested_at_night():
    played = played_from(person("sam", night=(9 * 60, 17 * 60)))
    played.until(at("2026-06-06 18:00"))
    assert rings(played) == [("06 Jun 17:00", "sam", "test")]


@pytest.mark.parametrize(("schedule", "days"), [("weekly", ["09", "16", "23", "30"]), ("never", [])])
def test_every_saturday_or_never(schedule, days):
    played = played_from(person("sam"), test_ring=schedule)
    played.until(at("2026-06-01 12:00"))
    assert [when[:2] for when, _, kind in rings(played) if kind == "test"] == days


def test_a_test_that_was_due_while_the_service_was_away_rings_then_and_a_restart_repeats_none():
    played = played_from(person("sam"))
    played.now_us = at("2026-06-07 15:00")
    played.restart()
    played.commit()
    assert rings(played) == [("07 Jun 15:00", "sam", "test")]
    played.restart()
    played.pass_(HOUR)
    assert len(played.messages) == 1


def test_the_hour_of_the_test_stays_on_the_wall_over_the_change_of_the_clock():
    played = played_from(person("sam"), start_us=at("2026-10-04 12:00"), test_answer_us=1000 * HOUR)
    played.until(at("2026-11-08 12:00"))
    assert [one for one in rings(played) if one[2] == "test"] == [("07 Nov 11:00", "sam", "test")]
