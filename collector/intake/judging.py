"""The engine as the service uses it: live, through a backlog, through an outage, and after a restart.

While a backlog is drained, engine time follows the readings and no clock is told; readings whose time
is not known, and what boards say, which has none, are kept back, and only the newest of each series and
board reaches the engine at the end. A restart goes through the recorded commits by the same steps.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from collector.intake.batch import Entry, judgeable, judged_rows, unjudged_row
from collector.learning import HeatVersion, Learned, Version, take_version
from collector.readings import Mark
from collector.store import BoardState, RecordedBlock, Row
from rules import AlarmRaised, Baseline, Block, Engine, Event, FlagRevised, HeatModel, Incident, PlannedWork

_UNKNOWN = int(Mark.TIME_UNKNOWN)


@dataclass(frozen=True, slots=True)
class Judged:
    """What came of some readings and of time: rows for the store, and what the engine said.

    `ticked_us` is the instant to which time alone had brought the engine before them, None if it had not.
    """

    engine_us: int | None
    rows: list[Row]
    revised: tuple[FlagRevised, ...]
    events: tuple[Event, ...]
    ticked_us: int | None = None


class Judge:
    """Feeds the engine; it begins, as after an outage, not listening.

    Parameters
    ----------
    engine
        Fresh, without baselines and models.
    boards
        Names of the series of each board, by tank and name. Others are not watched any more: what was
        recorded of them is passed over, and an alarm that one of them is away ends.
    """

    def __init__(self, engine: Engine, boards: Mapping[tuple[str, str], tuple[str, ...]]) -> None:
        self._engine = engine
        self._boards = boards
        self._kept_back: dict[int, Entry] = {}
        self._baselines: dict[int, Baseline] = {}
        self._models: dict[str, HeatModel] = {}
        self._boards_kept_back: dict[tuple[str, str], BoardState] = {}
        self._boards_removed: set[tuple[str, str]] = set()
        # Time that was told and of which no commit knows yet.
        self._ticked_us: int | None = None
        self.is_live = False
        engine.stop_listening()

    @property
    def engine(self) -> Engine:
        """The engine that is fed."""
        return self._engine

    def judge_by(self, learned: Learned) -> None:
        """Judge these series and tanks by what was learned of them from now on; the others keep theirs."""
        if learned.baselines:
            _take_over(self._baselines, learned.baselines)
            self._engine.set_baselines(self._baselines)
        if learned.models:
            _take_over(self._models, learned.models)
            self._engine.set_models(self._models)

    def stop_listening(self) -> None:
        """Nothing can be heard, or only backlog: no silence counts, no delay ends by the clock."""
        self.is_live = False
        self._engine.stop_listening()

    def catch_up(self, now_us: int) -> Judged:
        """The backlog is over: judge the newest kept back of each series and board, and listen again."""
        block = judgeable(list(self._kept_back.values()))
        self._kept_back.clear()
        outcome = self._engine.advance(block.block)
        # A late one may be a redelivery, whose verdict from when it came first stands.
        verdicts = tuple(
            FlagRevised(entry[1], entry[0], primary, tests)
            for entry, primary, tests, late in zip(
                block.entries, outcome.primary, outcome.tests, outcome.late, strict=True
            )
            if not late
        )
        events = list(outcome.events)
        for board in self._boards_kept_back.values():
            events += self._tell_board(board)
        self._boards_kept_back.clear()
        for tank, name in self._boards_removed:
            # Nobody would ever say that it is back.
            events += self._engine.board_changed(now_us, tank, name, (), is_online=True)
        self._boards_removed.clear()
        self.is_live = True
        self._engine.listen_from(now_us)
        events += self._engine.advance_to(now_us)
        revised = (*verdicts, *outcome.revised, *self._engine.take_revised())
        return Judged(now_us, [], revised, tuple(events))

    def judge(
        self,
        entries: list[Entry],
        now_us: int,
        boards: Iterable[BoardState] = (),
        planned_work: Iterable[PlannedWork] | None = None,
    ) -> Judged:
        """Judge boards that came or went, then readings; live, time then goes on to `now_us`.

        `planned_work` are all works that are known from here on, None where that does not change.
        """
        ticked_us, self._ticked_us = self._ticked_us, None
        events = self._prepare(now_us, boards, planned_work)
        unknown = [] if self.is_live else [entry for entry in entries if entry[3] & _UNKNOWN]
        if unknown:
            entries = [entry for entry in entries if not entry[3] & _UNKNOWN]
            self._keep_back(unknown)
        block = judgeable(entries)
        outcome = self._engine.advance(block.block)
        events += outcome.events
        if self.is_live:
            events += self._engine.advance_to(now_us)
        rows = judged_rows(block.entries, outcome)
        rows.extend(unjudged_row(entry) for entry in unknown)
        revised = (*outcome.revised, *self._engine.take_revised())
        return Judged(now_us if self.is_live else None, rows, revised, tuple(events), ticked_us)

    def _prepare(
        self, now_us: int, boards: Iterable[BoardState], planned_work: Iterable[PlannedWork] | None
    ) -> list[Event]:
        """Take what comes before the readings: planned work, then boards."""
        events: list[Event] = []
        if planned_work is not None:
            if self.is_live:
                # What the clock has brought until now was judged without them.
                events += self._engine.advance_to(now_us)
            self._engine.plan_work(planned_work)
        for board in boards:
            if self.is_live:
                events += self._tell_board(board)
            else:
                self._boards_kept_back[board.tank, board.name] = board
        return events

    def tick(self, now_us: int) -> Judged:
        """Let time pass on a live line on which nothing arrived."""
        events = self._engine.advance_to(now_us)
        self._ticked_us = now_us
        return Judged(now_us, [], self._engine.take_revised(), events)

    def _tell_board(self, board: BoardState) -> tuple[Event, ...]:
        series = self._boards.get((board.tank, board.name))
        if series is None:
            return ()
        return self._engine.board_changed(board.since_us, board.tank, board.name, series, board.is_online)

    def _keep_back(self, unknown: Iterable[Entry]) -> None:
        for entry in unknown:
            kept = self._kept_back.get(entry[1])
            if kept is None or kept[0] <= entry[0]:
                self._kept_back[entry[1]] = entry

    # -- restart -----------------------------------------------------------------------------------

    def replay(
        self,
        blocks: Iterable[RecordedBlock],
        versions: Sequence[Version | HeatVersion] = (),
        hear: Callable[[RecordedBlock, tuple[Event, ...]], object] = lambda _, __: None,
    ) -> None:
        """Go through what was recorded, as it was gone through then.

        Parameters
        ----------
        blocks
            In their order.
        versions
            What was learned, in order of application: each block is judged by what had been by then.
        hear
            Called with what the engine says to each block. To bring back the state before a restart, drop it:
            it was told then.
        """
        waiting = deque(versions)
        for recorded in blocks:
            events: list[Event] = []
            if self.is_live and recorded.ticked_us is not None:
                self._apply(waiting, recorded.ticked_us)
                events += self._engine.advance_to(recorded.ticked_us)
            self._apply(waiting, recorded.committed_us if recorded.engine_us is None else recorded.engine_us)
            if recorded.engine_us is None:
                if self.is_live:
                    self.stop_listening()
            elif not self.is_live:
                events += self.catch_up(recorded.engine_us).events
            # In a backlog the instant is not told to the engine.
            events += self._prepare(recorded.engine_us or 0, recorded.boards, recorded.planned_work)
            events += self._engine.advance(self._without_unknown(recorded)).events
            if recorded.engine_us is not None:
                events += self._engine.advance_to(recorded.engine_us)
            self._engine.take_revised()
            hear(recorded, tuple(events))
        self._apply(waiting, None)
        self.stop_listening()

    def _without_unknown(self, recorded: RecordedBlock) -> Block:
        """What of a block is judged with it: in a backlog readings of unknown time are kept back."""
        block = recorded.block
        unknown = np.flatnonzero(recorded.marks & _UNKNOWN)
        if self.is_live or not len(unknown):
            return block
        self._keep_back(
            (int(block.times_us[one]), int(block.series[one]), float(block.values[one]), _UNKNOWN, 0, b"")
            for one in unknown
        )
        rest = np.flatnonzero(~(recorded.marks & _UNKNOWN).astype(bool))
        return Block(block.times_us[rest], block.values[rest], block.series[rest])

    def _apply(self, waiting: deque[Version | HeatVersion], before_us: int | None) -> None:
        """Judge by the versions that began to apply before an instant, None for all that wait."""
        is_new = False
        while waiting and (before_us is None or waiting[0].applies_from_us < before_us):
            take_version(waiting.popleft(), self._baselines, self._models)
            is_new = True
        if is_new:
            self._engine.set_baselines(self._baselines)
            self._engine.set_models(self._models)

    def restore(
        self,
        incidents: Sequence[Incident],
        alarms: Sequence[AlarmRaised],
        last_number: int,
    ) -> None:
        """Take over what was open when the service stopped; `alarms` are those that have not returned."""
        active = {raised.alarm: raised for raised in alarms}
        away = {(one.tank, one.series) for one in active if one.cause == "device_offline"}
        self._boards_removed = away - self._boards.keys()
        self._engine.restore(
            [(incident, [active[key] for key in incident.alarms if key in active]) for incident in incidents],
            last_number + 1,
        )


_Of = TypeVar("_Of")
_What = TypeVar("_What")


def _take_over(known: dict[_Of, _What], news: Mapping[_Of, _What | None]) -> None:
    """Bring what is known up to the news, in which None is for nothing any more."""
    for key, value in news.items():
        if value is None:
            known.pop(key, None)
        else:
            known[key] = value
