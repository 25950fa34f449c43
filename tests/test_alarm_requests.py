"""What people ask about alarms: which are meant, and that each outlives the store unchanged."""

from __future__ import annotations

from pathlib import Path

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
from collector.requests import Request
from collector.store import RequestBox, Store, StoreReader

ASKED = [
    (Acknowledge("", 12, why="the plug was out"), "acknowledge incident 12"),
    (Acknowledge("reef", series="ph", cause="over_limit"), "acknowledge ph/over_limit in reef"),
    (Shelve("", 12, until_us=5), "shelve incident 12"),
    (Unshelve("reef", series="ph"), "unshelve ph in reef"),
    (Reset("reef", series="ph", cause="over_limit"), "reset ph/over_limit in reef"),
    (TakeOutOfService("reef", series="ph", why="new electrode"), "take ph in reef out of service"),
    (ReturnToService("reef", series="ph"), "return ph in reef to service"),
    (AnswerTestRing(), "answer the test ring"),
    (AnswerTestRing(person="sam"), "answer the test ring of sam"),
]


@pytest.mark.parametrize(("asked", "words"), ASKED, ids=lambda one: str(one))
def test_a_request_about_alarms_says_what_it_is_and_is_stored_as_it_is(tmp_path: Path, asked, words):
    assert str(asked) == words
    path = tmp_path / "brinebell.sqlite"
    Store(path).close()
    request = Request("1", 7, "sam", asked)
    with RequestBox(path) as box:
        box.ask(request)
    with StoreReader(path) as reader:
        assert reader.waiting_requests() == (request,)


@pytest.mark.parametrize(
    ("which", "said"),
    [
        ({}, "by the number of an incident or by their series"),
        ({"incident": 1, "series": "ph"}, "by the number of an incident or by their series"),
        ({"incident": 1, "cause": "leak"}, "'leak' goes with a series"),
    ],
)
def test_alarms_are_meant_in_one_way(which, said):
    with pytest.raises(ValueError, match=said):
        Acknowledge("reef", **which)
