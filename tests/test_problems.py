"""Problems are explained once per source and counted."""

from __future__ import annotations

import logging

import pytest

from collector.clock import Clock
from collector.payloads import Kind
from collector.problems import OTHERS, Problem, ProblemLog, ProblemRow


class _Wall:
    """A wall clock that the test sets."""

    def __init__(self) -> None:
        self.now_us = 1_000

    def __call__(self) -> int:
        return self.now_us


@pytest.fixture
def wall() -> _Wall:
    return _Wall()


@pytest.fixture
def log() -> logging.Logger:
    return logging.getLogger("tests.problems")


@pytest.fixture
def problems(log: logging.Logger, wall: _Wall) -> ProblemLog:
    return ProblemLog(log, Clock(wall=wall), most_sources=3)


_WARM = Problem("boards/sump", Kind.VALUE, "warm is no finite number")


def test_source_is_explained_once_and_counted(
    problems: ProblemLog, wall: _Wall, caplog: pytest.LogCaptureFixture
) -> None:
    for now_us in (1_000, 2_000, 3_000):
        wall.now_us = now_us
        problems.record(_WARM, b"warm")
    (message,) = [record.getMessage() for record in caplog.records]
    assert message == (
        "boards/sump (value): warm is no finite number. What could not be used is left out; more of it is "
        "counted, not logged"
    )
    assert caplog.records[0].levelno == logging.WARNING
    assert problems.summary() == [
        ProblemRow("boards/sump (value)", 3, 1_000, 3_000, "warm is no finite number", b"warm")
    ]


def test_other_kind_or_topic_is_another_source(
    problems: ProblemLog, caplog: pytest.LogCaptureFixture
) -> None:
    for problem in (_WARM, _WARM._replace(kind=Kind.TIME), _WARM._replace(topic="boards/display"), _WARM):
        problems.record(problem, b"")
    assert [row.count for row in problems.summary()] == [2, 1, 1]
    assert len(caplog.records) == 3


def test_last_reason_and_payload_are_kept_and_the_payload_is_cut(problems: ProblemLog) -> None:
    problems.record(_WARM, b"warm")
    problems.record(_WARM._replace(reason="hot is no finite number"), b"x" * 300)
    (row,) = problems.summary()
    assert row.reason == "hot is no finite number"
    assert row.payload == b"x" * 256


def test_drain_gives_what_changed_with_the_count_since_then(problems: ProblemLog, wall: _Wall) -> None:
    other = _WARM._replace(topic="boards/display")
    problems.record(_WARM, b"1")
    problems.record(_WARM, b"2")
    problems.record(other, b"3")
    assert [(row.source, row.count) for row in problems.drain()] == [
        ("boards/sump (value)", 2),
        ("boards/display (value)", 1),
    ]
    assert problems.drain() == []
    wall.now_us = 9_000
    problems.record(_WARM, b"4")
    assert problems.drain() == [ProblemRow("boards/sump (value)", 1, 1_000, 9_000, _WARM.reason, b"4")]
    assert [row.count for row in problems.summary()] == [3, 1]


def test_topics_without_end_are_counted_together(
    problems: ProblemLog, caplog: pytest.LogCaptureFixture
) -> None:
    for number in range(50):
        problems.record(_WARM._replace(topic=f"boards/{number}"), b"warm")
    problems.record(_WARM._replace(topic="boards/0"), b"warm")
    summary = problems.summary()
    assert [(row.source, row.count) for row in summary] == [
        (OTHERS, 47),
        ("boards/0 (value)", 2),
        ("boards/1 (value)", 1),
        ("boards/2 (value)", 1),
    ]
    assert len(caplog.records) == 4
    assert caplog.records[-1].getMessage() == (
        "problems of more than 3 sources: further ones are counted together. The first is boards/3 (value): "
        "warm is no finite number"
    )


def test_topic_that_would_break_the_log_is_shown_on_one_line(
    problems: ProblemLog, caplog: pytest.LogCaptureFixture
) -> None:
    problems.record(Problem("boards/\nWARNING all is well\x1b[2J" + "x" * 70_000, Kind.VALUE, "a\nb"), b"")
    (message,) = [record.getMessage() for record in caplog.records]
    assert message.isprintable()
    assert len(message) < 300
    assert message.startswith("boards/\\nWARNING all is well\\x1b[2Jxxx")
