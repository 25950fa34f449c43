"""Planned work that is announced over MQTT: done once, never from a retained or a stale message."""

from __future__ import annotations

import json

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
from collector.clock import Clock
from collector.errors import PayloadError
from collector.intake import Asking
from collector.intake.published import published_request, request_topic
from collector.mqtt import Message
from collector.requests import BeginWork, CancelWork, EndWork, Plan
from rules import PlannedWork
from tests.intake.conftest import Begin
from tests.intake.parts import MINUTE, START_US, Running

TOPIC = request_topic("reef")
FEEDING = {"id": "7", "do": "begin_work", "kind": "feeding_pause", "for": "15 min"}


def read(values: object, *, is_retained: bool = False, is_backlog: bool = False):
    payload = values if isinstance(values, bytes) else json.dumps(values).encode()
    message = Message(TOPIC, payload, 1, is_retained, False, START_US)
    return published_request(message, "reef", is_backlog=is_backlog)


def test_what_each_request_asks_for():
    begun = read(FEEDING)
    assert (begun.id, begun.asked_us) == ("reef/7", START_US)
    assert begun.asked == BeginWork("reef", "feeding_pause", START_US, START_US + 15 * MINUTE)
    later = read(FEEDING | {"in": "2 h"}).asked
    assert later == BeginWork("reef", "feeding_pause", START_US + 120 * MINUTE, START_US + 135 * MINUTE)
    assert read({"id": "8", "do": "end_work"}).asked == EndWork("reef")
    assert read({"id": "8", "do": "cancel_work", "kind": "calibration"}).asked == CancelWork(
        "reef", "calibration"
    )
    assert read({"id": "8", "do": "cancel_work", "kind": "all"}).asked == CancelWork("reef")


@pytest.mark.parametrize(
    ("values", "asked"),
    [
        ({"do": "acknowledge", "incident": 12, "why": "plug"}, Acknowledge("reef", 12, why="plug")),
        ({"do": "acknowledge", "series": "ph", "cause": "leak"}, Acknowledge("reef", None, "ph", "leak")),
        ({"do": "shelve", "incident": 12}, Shelve("reef", 12, until_us=START_US + 60 * MINUTE)),
        (
            {"do": "shelve", "incident": 12, "for": "2 h"},
            Shelve("reef", 12, until_us=START_US + 120 * MINUTE),
        ),
        ({"do": "shelve", "incident": 12, "until": "morning"}, Shelve("reef", 12)),
        ({"do": "unshelve", "incident": 12}, Unshelve("reef", 12)),
        ({"do": "reset", "series": "ph"}, Reset("reef", series="ph")),
        ({"do": "take_out_of_service", "series": "ph"}, TakeOutOfService("reef", None, "ph")),
        ({"do": "return_to_service", "series": "ph"}, ReturnToService("reef", None, "ph")),
        ({"do": "answer_test_ring"}, AnswerTestRing("reef")),
        ({"do": "answer_test_ring", "person": "sam"}, AnswerTestRing("reef", "sam")),
    ],
)
def test_what_is_asked_about_alarms(values, asked):
    assert read({"id": "9"} | values).asked == asked


def test_a_button_is_answered_once_however_often_it_is_delivered(running: Running) -> None:
    asking = asking_of(running)
    ask = {"id": "9", "do": "take_out_of_service", "series": "temperature"}
    for _ in range(2):
        publish(running, ask)
        running.pass_time(1)
        asking.turn()
        running.rounds()
    (answered,) = [answer for commit in running.keeper.commits for answer in commit.answers]
    assert answered.request == "reef/9"
    assert answered.is_done


def test_when_it_was_asked_counts_from_there_but_never_from_the_future():
    # START_US is 2026-09-21T14:13:20Z.
    asked = read(FEEDING | {"at": "2026-09-21T14:00:00Z"}, is_backlog=True)
    assert asked.asked_us == START_US - 800 * 1_000_000
    assert asked.asked.from_us == asked.asked_us
    assert read(FEEDING | {"at": "2027-01-01T00:00:00Z"}).asked_us == START_US


@pytest.mark.parametrize(
    ("values", "more", "why"),
    [
        (FEEDING, {"is_retained": True}, "a retained request is not done"),
        (FEEDING, {"is_backlog": True}, 'without "at" nobody knows'),
        (b"on", {}, "a request is a JSON object"),
        ([1], {}, "a request is a JSON object, such as"),
        ({"do": "end_work"}, {}, 'bears an "id" of its own'),
        ({"id": 7, "do": "end_work"}, {}, 'bears an "id" of its own'),
        ({"id": "x" * 101, "do": "end_work"}, {}, "at most 100 characters"),
        (
            {"id": "7", "do": "stop"},
            {},
            "return_to_service, answer_test_ring, not 'stop'",
        ),
        ({"id": "7", "do": "end_work", "until": "9"}, {}, "'until' is no key of end_work"),
        ({"id": "7", "do": ["x"]}, {}, '"do" is one of begin_work'),
        ({"id": "7", "do": "acknowledge"}, {}, 'give "incident", or "series"'),
        ({"id": "7", "do": "acknowledge", "incident": 1, "series": "ph"}, {}, 'give "incident", or "series"'),
        ({"id": "7", "do": "acknowledge", "incident": "1"}, {}, "the number of an incident, not '1'"),
        ({"id": "7", "do": "acknowledge", "incident": True}, {}, "the number of an incident, not True"),
        ({"id": "7", "do": "acknowledge", "series": 1}, {}, '"series" is a text'),
        ({"id": "7", "do": "shelve", "incident": 1, "until": "noon"}, {}, '"until": "morning"'),
        (
            {"id": "7", "do": "shelve", "incident": 1, "until": "morning", "for": "1 h"},
            {},
            '"until": "morning"',
        ),
        ({"id": "7", "do": "shelve", "incident": 1, "for": 3600}, {}, 'shelve needs "for", a duration'),
        ({"id": "7", "do": "unshelve", "incident": 1, "for": "1 h"}, {}, "'for' is no key of unshelve"),
        ({"id": "7", "do": "begin_work", "for": "15 min"}, {}, 'needs a "kind"'),
        ({"id": "7", "do": "begin_work", "kind": 3, "for": "15 min"}, {}, '"kind" is a text'),
        ({"id": "7", "do": "begin_work", "kind": "calibration"}, {}, 'needs "for", a duration'),
        ({"id": "7", "do": "cancel_work"}, {}, 'cancel_work needs a "kind", which may be "all"'),
        (FEEDING | {"for": "soon"}, {}, '"soon" is no duration'),
        (FEEDING | {"at": "noon"}, {}, "no RFC 3339 time"),
    ],
)
def test_what_is_no_request_says_how_it_is_written(values, more, why):
    with pytest.raises(PayloadError) as told:
        read(values, **more)
    assert why in str(told.value)


def asking_of(running: Running) -> Asking:
    clock = Clock(wall=lambda: running.now_us)
    plan = Plan(running.reader.known_works(), ["reef"])
    return Asking(
        running.reader, running.intake, plan, running.answering, clock, monotonic=lambda: running.now_us / 1e6
    )


def publish(running: Running, values: object, **more) -> None:
    running.line.bring(running.message(TOPIC, json.dumps(values), **more))
    running.rounds()


def test_a_button_begins_work_and_a_second_delivery_changes_nothing(running: Running) -> None:
    asking = asking_of(running)
    publish(running, FEEDING)
    assert [one.id for one in running.reader.waiting_requests()] == ["reef/7"]
    # It was acknowledged with the commit that holds it.
    assert running.line.acknowledged[-1].up_to == running.line._arrived
    asking.turn()
    running.rounds()
    planned = (PlannedWork("reef", "feeding_pause", running.now_us, running.now_us + 15 * MINUTE),)
    assert running.reader.known_works() == planned
    running.pass_time(300)
    publish(running, FEEDING, redelivered=True)
    asking.turn()
    running.rounds()
    assert running.reader.known_works() == planned
    running.pass_time(1)
    publish(running, FEEDING | {"id": "8"})
    asking.turn()
    running.rounds()
    (longer,) = running.reader.known_works()
    assert (longer.to_us - longer.from_us) // MINUTE == 20


def test_what_is_retained_is_refused_and_reported(running: Running) -> None:
    publish(running, FEEDING, retained=True)
    assert running.reader.waiting_requests() == ()
    (told,) = running.reader.rejected()
    assert told.source.startswith(TOPIC)
    assert "retained" in told.reason


def test_a_kill_between_acknowledgement_and_doing_loses_nothing(begin: Begin) -> None:
    running = begin()
    running.be_live()
    publish(running, FEEDING)
    again = running.again()
    asking_of(again).turn()
    again.rounds()
    assert [one.kind for one in again.reader.known_works()] == ["feeding_pause"]


def test_a_press_of_while_the_service_was_away_is_not_taken_for_one_of_now(begin: Begin) -> None:
    running = begin()
    running.line.bring(running.message(TOPIC, json.dumps(FEEDING)), caught_up=1)
    running.rounds()
    assert running.reader.waiting_requests() == ()
    assert "nobody knows of when it is" in running.reader.rejected()[0].reason
