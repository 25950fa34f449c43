"""When a database that takes nothing, or refuses readings, is told: late, quietly, once."""

from __future__ import annotations

import pytest

from collector.mirror import MirrorHealth
from collector.notices import MirrorBehind
from collector.notices.mirror_behind import AWAY_NOTE, REFUSED_NOTE
from collector.wording import BODY_WORDS, TITLE_CHARACTERS, TITLE_WORDS
from rules import HOUR_US, Priority
from tests.intake.parts import START_US

LONG = "the database answers 400: " + "very long words about what is wrong there and on which line " * 5


class Parts:
    """A mirror, its notice, and what was noted of it."""

    def __init__(self) -> None:
        self.health = MirrorHealth()
        self.notes: dict[str, str] = {}
        self.bodies: list[str] = []
        self.restart()

    def restart(self) -> None:
        told = self.notes.get(AWAY_NOTE), self.notes.get(REFUSED_NOTE)
        self.behind = MirrorBehind(told, lambda: self.health, "UTC", 24 * HOUR_US)

    def told(self, hour: float) -> str | None:
        now_us = START_US + int(hour * HOUR_US)
        said = self.behind.turn(now_us, is_connected=True, is_catching_up=False)
        if said is None:
            return None
        self.notes |= said.notes
        if said.notice is None:
            return "noted"
        assert said.notice.priority is Priority.LOW
        assert len(said.notice.title) <= TITLE_CHARACTERS
        assert len(said.notice.title.split()) <= TITLE_WORDS
        assert len(said.notice.body.split()) <= BODY_WORDS
        self.bodies.append(said.notice.body)
        return said.notice.kind

    def fails(self, reason: str = "http://10.0.0.7:8086 cannot be reached (Connection refused)") -> None:
        self.health = MirrorHealth(START_US, reason)


def test_it_is_told_after_a_day_and_its_return_when_something_was_taken() -> None:
    parts = Parts()
    parts.fails()
    assert [parts.told(hour) for hour in (0, 23.99, 24, 25)] == [None, None, "database_away", None]
    assert "cannot be reached (Connection refused)" in parts.bodies[0]
    assert "Readings wait in the store." in parts.bodies[0]
    parts.restart()
    assert parts.told(26) is None
    parts.health = MirrorHealth()  # as after a start: nothing is known yet
    assert parts.told(27) is None
    parts.health = MirrorHealth(has_sent=True)
    assert [parts.told(28), parts.told(29)] == ["database_back", None]
    parts.restart()
    assert parts.told(30) is None


def test_a_night_away_is_told_neither_way() -> None:
    parts = Parts()
    parts.fails()
    assert parts.told(8) is None
    parts.health = MirrorHealth(has_sent=True)
    assert parts.told(9) is None
    assert parts.notes == {}


def test_refused_readings_are_told_once_until_all_of_them_were_taken() -> None:
    parts = Parts()
    parts.health = MirrorHealth(None, "partial write: points beyond retention policy", 90, has_sent=True)
    assert [parts.told(0), parts.told(1)] == ["database_refuses", None]
    assert parts.bodies[0].startswith("It refused 90, which are set aside: partial write: points beyond")
    # At a start they are counted before they have been tried anew.
    parts.restart()
    parts.health = MirrorHealth(refused=90)
    assert parts.told(2) is None
    parts.health = MirrorHealth(has_sent=True)
    assert [parts.told(3), parts.told(4)] == ["noted", None]
    parts.health = MirrorHealth(None, "field type conflict", 1, has_sent=True)
    assert parts.told(5) == "database_refuses"


@pytest.mark.parametrize("reason", [LONG, ""])
def test_whatever_the_database_says_the_words_keep_to_their_measure(reason: str) -> None:
    parts = Parts()
    parts.fails(reason)
    assert parts.told(24) == "database_away"
    parts = Parts()
    parts.health = MirrorHealth(None, reason, 1_234_567, has_sent=True)
    assert parts.told(0) == "database_refuses"
