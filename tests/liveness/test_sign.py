"""When a sign of life is given, and when it is not."""

from __future__ import annotations

import json

import pytest

from collector.liveness import EVERY_S, SignOfLife, Systemd


class Line:
    def __init__(self) -> None:
        self.is_up = True
        self.signs: list[dict[str, object]] = []

    def sign(self, payload: bytes) -> bool:
        if self.is_up:
            self.signs.append(json.loads(payload))
        return self.is_up


class Web:
    def __init__(self) -> None:
        self.given = 0

    def give(self) -> None:
        self.given += 1


class Parts:
    def __init__(self) -> None:
        self.now_s = 0.0
        self.line, self.web = Line(), Web()
        self.life = SignOfLife(
            self.line,
            Systemd({}),
            self.web,  # type: ignore[arg-type]
            lambda: f"2026-01-01T00:00:{self.now_s:04.1f}Z",
            monotonic=lambda: self.now_s,
        )

    def turns(self, seconds: float, *, is_refused: bool = False) -> None:
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.life.turn(is_refused=is_refused)
            self.now_s += 1


def test_a_sign_is_given_at_once_and_then_once_a_minute() -> None:
    parts = Parts()
    parts.turns(3 * EVERY_S)
    assert len(parts.line.signs) == parts.web.given == 3
    assert parts.line.signs[0] == {"at": "2026-01-01T00:00:00.0Z", "every_s": 60}


def test_a_loop_that_does_not_turn_gives_none() -> None:
    parts = Parts()
    parts.turns(1)
    parts.now_s += 3600
    assert len(parts.line.signs) == parts.web.given == 1


def test_a_broker_that_comes_back_gets_one_at_once() -> None:
    parts = Parts()
    parts.line.is_up = False
    parts.turns(10)
    assert parts.line.signs == []
    assert parts.web.given == 1
    parts.line.is_up = True
    parts.turns(1)
    assert len(parts.line.signs) == 1


@pytest.mark.parametrize(("seconds", "given"), [(119, 2), (121, 2), (600, 2)])
def test_none_is_given_while_the_store_refuses_for_long(
    seconds: float, given: int, caplog: pytest.LogCaptureFixture
) -> None:
    parts = Parts()
    parts.turns(seconds, is_refused=True)
    assert len(parts.line.signs) == parts.web.given == given
    assert caplog.text.count("no sign of life is given") == (seconds > 120)
    parts.turns(60)
    assert parts.web.given >= given + (seconds >= 120)


def test_a_store_that_refuses_for_a_moment_holds_no_sign_back() -> None:
    parts = Parts()
    for _ in range(10):
        parts.turns(100, is_refused=True)
        parts.turns(1)
    assert len(parts.line.signs) == 17  # of 1010 s, one each 60 s
