"""When a store that refuses is told, and when the end of it."""

from __future__ import annotations

import pytest

from collector.notices import STORE_NOTE, StoreRefuses
from collector.wording import BODY_WORDS, TITLE_CHARACTERS, TITLE_WORDS
from rules import Priority
from tests.intake.parts import MINUTE, SECOND, START_US


class Parts:
    def __init__(self, note: str | None = None) -> None:
        self.now_us, self.since_us = START_US, None
        self.told: list[tuple[str, int, Priority]] = []
        self.bodies: list[str] = []
        self.note = note
        self.start()

    def start(self) -> None:
        self.notice = StoreRefuses(self.note, "UTC", lambda: self.since_us)

    def turns(self, duration_us: int, *, refused: bool) -> None:
        if refused is (self.since_us is None):
            self.since_us = self.now_us if refused else None
        end_us = self.now_us + duration_us
        while self.now_us < end_us:
            said = self.notice.turn(self.now_us, is_connected=True, is_catching_up=False)
            if said is not None:
                assert said.notice is not None
                assert len(said.notice.title) <= TITLE_CHARACTERS
                assert len(said.notice.title.split()) <= TITLE_WORDS
                assert len(said.notice.body.split()) <= BODY_WORDS
                self.told.append((said.notice.kind, (self.now_us - START_US) // SECOND, said.notice.priority))
                self.bodies.append(said.notice.body)
                self.note = said.notes[STORE_NOTE]
            self.now_us += 10 * SECOND


REFUSES = ("store_refuses", 120, Priority.HIGH)


@pytest.mark.parametrize(("seconds", "told"), [(110, []), (120, []), (130, [REFUSES]), (9000, [REFUSES])])
def test_it_is_told_once_when_it_has_lasted_two_minutes(seconds: int, told: list[object]) -> None:
    parts = Parts()
    parts.turns(seconds * SECOND, refused=True)
    assert parts.told == told


def test_its_end_is_told_quietly_also_by_the_next_service() -> None:
    parts = Parts()
    parts.turns(30 * MINUTE, refused=True)
    assert parts.note == str(START_US)
    parts.start()
    parts.turns(MINUTE, refused=False)
    assert parts.told == [REFUSES, ("store_takes", 1800, Priority.LOW)]
    assert parts.bodies[-1] == "It took none for 30 min, since 14:13. What waited meanwhile is stored."
    assert parts.note == ""
    parts.turns(3 * MINUTE, refused=True)
    assert [kind for kind, *_ in parts.told] == ["store_refuses", "store_takes", "store_refuses"]


def test_a_busy_minute_is_told_neither_way() -> None:
    parts = Parts()
    for _ in range(5):
        parts.turns(MINUTE, refused=True)
        parts.turns(MINUTE, refused=False)
    assert parts.told == []
