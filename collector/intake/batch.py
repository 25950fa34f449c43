"""Readings on their way to the next commit: columns for the engine, rows for the store.

The block that the engine is given holds the readings in order of (time, series): the order in which the
store gives them back after a restart, so that what is judged live is judged again the same way.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

import numpy as np

from collector.readings import Mark
from collector.requests import Answer, Request
from collector.store import BoardState, Rejection, Row
from rules import Block, Flag, Outcome, PlannedWork

_NOT_EVALUATED = int(Flag.NOT_EVALUATED)
_LATE = int(Mark.LATE)

# observed_us, series, value, mark, delay_ms, payload
Entry: TypeAlias = tuple[int, int, float, int, int, bytes]


@dataclass(slots=True)
class Batch:
    """What one commit will carry, as it comes in; `is_urgent` says that it does not wait for others.

    `planned_work` are all works that are known from it on, None where that does not change; `answers` tell
    what became of requests that it does, `requests` are new ones, which a later one does, and `refused` says
    why others were not taken. `is_called` says that there is something to tell although nothing came in.
    """

    messages: int = 0
    entries: list[Entry] = field(default_factory=list)
    boards: list[BoardState] = field(default_factory=list)
    rejections: list[Rejection] = field(default_factory=list)
    is_urgent: bool = False
    planned_work: tuple[PlannedWork, ...] | None = None
    answers: list[Answer] = field(default_factory=list)
    requests: list[Request] = field(default_factory=list)
    refused: list[Answer] = field(default_factory=list)
    is_called: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether nothing has come in."""
        return self.messages == 0 and self.planned_work is None and not self.is_called


class Judgeable(NamedTuple):
    """Entries and the block made of them, position by position."""

    entries: list[Entry]
    block: Block


def judgeable(entries: list[Entry]) -> Judgeable:
    """Put entries in the engine's order and make a block of them; entries of one key keep their order."""
    if not entries:
        empty = np.empty(0, np.int64)
        return Judgeable(entries, Block(empty, np.empty(0, np.float64), empty))
    times, series, values = zip(*[entry[:3] for entry in entries], strict=True)
    block = Block(np.array(times, np.int64), np.array(values, np.float64), np.array(series, np.int64))
    if len(entries) == 1 or _is_in_order(block):
        return Judgeable(entries, block)
    order = np.lexsort((block.series, block.times_us))
    sorted_block = Block(block.times_us[order], block.values[order], block.series[order])
    return Judgeable([entries[position] for position in order.tolist()], sorted_block)


def judged_rows(entries: list[Entry], outcome: Outcome) -> list[Row]:
    """Rows of entries that the engine has judged."""
    return [
        (series, observed_us, value, primary, mark | _LATE if late else mark, delay_ms, tests, payload)
        for (observed_us, series, value, mark, delay_ms, payload), primary, tests, late in zip(
            entries, outcome.primary, outcome.tests, outcome.late, strict=True
        )
    ]


def unjudged_row(entry: Entry) -> Row:
    """The row of an entry that is not for the engine."""
    observed_us, series, value, mark, delay_ms, payload = entry
    return (series, observed_us, value, _NOT_EVALUATED, mark, delay_ms, 0, payload)


def _is_in_order(block: Block) -> bool:
    steps = np.diff(block.times_us)
    if (steps > 0).all():
        return True
    if (steps < 0).any():
        return False
    return bool((np.diff(block.series)[steps == 0] >= 0).all())
