"""What boards sent that could not be used: explained in the log once per source, and counted.

A source here is a topic and a kind of flaw: a probe that sends nonsense every second gives one line, and
a count that the store keeps.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import NamedTuple

from collector.clock import Clock
from collector.payloads import Kind, shown

# A tank has tens of topics; beyond this, somebody publishes to topics without end.
MOST_SOURCES = 1000
# Under which all further ones are counted together.
OTHERS = "others"
SAMPLE_BYTES = 256
_LONGEST_TOPIC = 120
_LONGEST_REASON = 400


class Problem(NamedTuple):
    """One thing in one message that could not be used; a flaw with the topic that it came by."""

    topic: str
    kind: Kind
    reason: str

    @property
    def source(self) -> str:
        """What it is counted under: the topic, printable and cut, and the kind."""
        return f"{shown(self.topic, _LONGEST_TOPIC)} ({self.kind})"


@dataclass(frozen=True, slots=True)
class ProblemRow:
    """How often a source had a problem, when first and last, why last, and a sample of its payload."""

    source: str
    count: int
    first_us: int
    last_us: int
    reason: str
    payload: bytes


@dataclass(slots=True)
class _Counted:
    count: int
    undrained: int
    first_us: int
    last_us: int
    reason: str
    payload: bytes


class ProblemLog:
    """Explains each source of problems once, and counts.

    Parameters
    ----------
    log
        Where the lines go, as warnings.
    clock
        When a problem is counted.
    most_sources
        How many sources are told apart; others are counted together.
    """

    def __init__(self, log: logging.Logger, clock: Clock, *, most_sources: int = MOST_SOURCES) -> None:
        self._log = log
        self._clock = clock
        self._most_sources = most_sources
        self._sources: dict[str, _Counted] = {}
        self._changed: dict[str, None] = {}

    def record(self, problem: Problem, payload: bytes) -> None:
        """Count a problem, and explain it if its source had none before."""
        source = problem.source
        counted = self._sources.get(source)
        if counted is None and len(self._sources) >= self._most_sources:
            source = OTHERS
            counted = self._sources.get(source)
        now_us = self._clock.now_us()
        reason = shown(problem.reason, _LONGEST_REASON)
        if counted is None:
            counted = self._sources[source] = _Counted(0, 0, now_us, now_us, reason, b"")
            self._explain(source, problem, reason)
        counted.count += 1
        counted.undrained += 1
        counted.last_us = now_us
        counted.reason = reason
        counted.payload = payload[:SAMPLE_BYTES]
        self._changed[source] = None

    def drain(self) -> list[ProblemRow]:
        """Return the sources with problems since the last call, with the count since then."""
        rows = []
        for source in self._changed:
            counted = self._sources[source]
            rows.append(_row(source, counted, counted.undrained))
            counted.undrained = 0
        self._changed.clear()
        return rows

    def summary(self) -> list[ProblemRow]:
        """Return all sources with their whole count, the most frequent first."""
        rows = [_row(source, counted, counted.count) for source, counted in self._sources.items()]
        return sorted(rows, key=lambda row: -row.count)

    def _explain(self, source: str, problem: Problem, reason: str) -> None:
        if source == OTHERS:
            self._log.warning(
                "problems of more than %d sources: further ones are counted together. The first is %s: %s",
                self._most_sources,
                problem.source,
                reason,
            )
        else:
            self._log.warning(
                "%s: %s. What could not be used is left out; more of it is counted, not logged",
                source,
                reason,
            )


def _row(source: str, counted: _Counted, count: int) -> ProblemRow:
    return ProblemRow(source, count, counted.first_us, counted.last_us, counted.reason, counted.payload)
