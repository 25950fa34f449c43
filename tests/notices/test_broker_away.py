"""When a broker that is away is told, and when its return."""

from __future__ import annotations

import pytest

from collector.notices import BROKER_NOTE, BrokerAway
from collector.notices.notice import Turn
from rules import Priority
from tests.intake.parts import MINUTE, SECOND, START_US


class Parts:
    def __init__(self, note: str | None = None) -> None:
        self.now_us = START_US
        self.note = note
        self.told: list[tuple[str, int, Priority]] = []
        self.last: Turn | None = None
        self.start()

    def start(self) -> None:
        self.away = BrokerAway(self.note, "127.0.0.1:1883", "UTC", 15 * MINUTE)

    def turns(self, duration_us: int, *, connected: bool) -> None:
        end_us = self.now_us + duration_us
        while self.now_us < end_us:
            said = self.away.turn(self.now_us, is_connected=connected, is_catching_up=False)
            if said is not None:
                assert said.notice is not None
                self.told.append((said.notice.kind, (self.now_us - START_US) // MINUTE, said.notice.priority))
                self.note, self.last = said.notes[BROKER_NOTE], said
            self.now_us += 10 * SECOND


AWAY = ("broker_away", 15, Priority.HIGH)


@pytest.mark.parametrize(("minutes", "told"), [(14, []), (15, []), (16, [AWAY]), (300, [AWAY])])
def test_it_is_told_once_when_it_was_away_long_enough(minutes: int, told: list[object]) -> None:
    parts = Parts()
    parts.turns(minutes * MINUTE, connected=False)
    assert parts.told == told


def test_its_return_is_told_quietly_and_says_for_how_long() -> None:
    parts = Parts()
    parts.turns(30 * MINUTE, connected=False)
    parts.turns(10 * MINUTE, connected=True)
    assert parts.told == [AWAY, ("broker_back", 31, Priority.LOW)]
    assert parts.last is not None
    assert parts.last.notice is not None
    assert parts.last.notice.body == "It was away for 30 min, since 14:13. The tank is watched again."
    assert parts.note == ""
    parts.turns(20 * MINUTE, connected=False)
    assert [one[:2] for one in parts.told[2:]] == [("broker_away", 55)]


def test_a_short_absence_is_told_neither_way() -> None:
    parts = Parts()
    for _ in range(5):
        parts.turns(10 * MINUTE, connected=False)
        parts.turns(10 * MINUTE, connected=True)
    assert parts.told == []


def test_a_line_that_breaks_again_and_again_has_not_come_back() -> None:
    parts = Parts()
    for _ in range(20):
        parts.turns(50 * SECOND, connected=False)
        parts.turns(40 * SECOND, connected=True)
    assert [one[0] for one in parts.told] == ["broker_away"]


def test_a_restart_meanwhile_repeats_nothing_and_still_tells_of_the_return() -> None:
    parts = Parts()
    parts.turns(20 * MINUTE, connected=False)
    parts.start()
    parts.turns(40 * MINUTE, connected=False)
    assert parts.told == [AWAY]
    parts.turns(5 * MINUTE, connected=True)
    assert parts.last is not None
    assert parts.last.notice is not None
    assert parts.last.notice.body.startswith("It was away for 1 h, since 14:13.")


def test_a_broker_that_was_never_reached_is_told_too_and_the_words_keep_to_their_measure() -> None:
    parts = Parts()
    parts.turns(20 * MINUTE, connected=False)
    assert parts.last is not None
    assert parts.last.notice is not None
    notice = parts.last.notice
    assert notice.title == "Nothing is watched: the broker is away"
    assert "127.0.0.1:1883 cannot be reached since 14:13" in notice.body
    assert len(notice.body.split()) <= 40
