"""Ten thousand malformed payloads and topics among good readings: none is lost, and each is accounted for."""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.clock import Clock
from collector.payloads import FORMATS
from collector.problems import MOST_SOURCES, OTHERS, ProblemLog
from collector.readings import Reading
from collector.routing import Router
from tests.payloads.malformed import MALFORMED, STRANGE_LEVELS
from tests.payloads.sources import ALL_SERIES, PH, RECEIVED_US, TEMPERATURE, configuration, converter, source

# Of each format, and of topics: more than ten thousand together.
EXAMPLES = 1900

_TEMPERATURE = ALL_SERIES.index(TEMPERATURE)
_PH = ALL_SERIES.index(PH)

# Of each format a source, and what a good board of it says: 25 degC, or pH 8.25.
_SOURCES = [
    source("number", "number/+", series="temperature"),
    source("json", "json/+", values={"/probes/ph": "ph"}),
    source("senml", "senml/+", values={"temperature": "temperature"}),
    source("homie", "homie/5/+/+/+", series="temperature"),
    source("line_protocol", "line_protocol/+", values={"t": "temperature"}),
    source("number", "named/+", series="{1}"),
]
_GOOD = {
    "number": ("number/good", b"25.31", Reading(_TEMPERATURE, None, 25.31)),
    "json": ("json/good", b'{"probes": {"ph": 8.25}}', Reading(_PH, None, 8.25)),
    "senml": ("senml/good", b'[{"bn":"sump/","bt":1789999000,"n":"temperature","u":"Cel","v":25.5}]',
              Reading(_TEMPERATURE, 1_789_999_000_000_000, 25.5)),
    "homie": ("homie/5/sump/probes/good", b"24", Reading(_TEMPERATURE, None, 24.0)),
    "line_protocol": ("line_protocol/good", b"water t=23.5 1789999000000000000",
                      Reading(_TEMPERATURE, 1_789_999_000_000_000, 23.5)),
    "topic": ("named/temperature", b"25", Reading(_TEMPERATURE, None, 25.0)),
}  # fmt: skip
_BAD_TOPICS = {
    **{name: f"{name}/bad" for name in FORMATS},
    "homie": "homie/5/sump/probes/bad",
}


def _bad_messages(wrong: str) -> st.SearchStrategy[tuple[str, bytes]]:
    """Topics and payloads that are wrong in one way."""
    if wrong == "topic":
        return STRANGE_LEVELS.map(lambda level: (f"named/{level}", b"25"))
    return MALFORMED[wrong].map(lambda payload: (_BAD_TOPICS[wrong], payload))


def test_every_format_has_malformed_payloads() -> None:
    assert set(MALFORMED) == set(FORMATS) == set(_GOOD) - {"topic"}


class _Lines(logging.Handler):
    """What was logged since it was emptied. pytest's own would show each of them on failure."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(record.getMessage())


@pytest.fixture
def logged() -> Iterator[_Lines]:
    log, lines = logging.getLogger("tests.malformed"), _Lines()
    log.addHandler(lines)
    log.propagate = False
    yield lines
    log.removeHandler(lines)
    log.propagate = True


@pytest.mark.parametrize("wrong", _GOOD)
def test_ten_thousand_malformed_messages_lose_no_good_reading(wrong: str, logged: _Lines) -> None:
    """Nineteen hundred for each format and for topics, ten thousand together."""
    router = Router(configuration(_SOURCES), converter)
    problem_log = ProblemLog(logging.getLogger("tests.malformed"), Clock())
    good_topic, good_payload, reading = _GOOD[wrong]
    counted: Counter[str] = Counter()
    different: set[tuple[str, bytes]] = set()
    tried = 0

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )
    @given(_bad_messages(wrong))
    def interleave(message: tuple[str, bytes]) -> None:
        nonlocal tried
        topic, payload = message
        readings, problems = router.route(topic, payload, RECEIVED_US)
        assert not readings
        assert problems, "it is told of nowhere"
        for problem in problems:
            problem_log.record(problem, payload)
            counted[
                problem.source if problem.source in counted or len(counted) < MOST_SOURCES else OTHERS
            ] += 1
        assert router.route(good_topic, good_payload, RECEIVED_US) == ([reading], [])
        tried += 1
        different.add(message)

    interleave()
    assert tried >= EXAMPLES
    assert len(different) > EXAMPLES // 2
    assert {row.source: row.count for row in problem_log.summary()} == counted
    # One line each, which begins with its source.
    assert len(logged.lines) == len(counted)
    assert all(
        line.startswith(f"{source}: ")
        for source, line in zip(counted, logged.lines, strict=True)
        if source != OTHERS
    )
