"""Replay: what was recorded through the same engine at full speed, and what comes of it.

From the store everything comes as it was: readings in their commits, time that passed without them, boards,
planned work, and what had been learned by each night. From files come readings alone, and beside them what
the caller has: planned work, and what was learned elsewhere.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from collector.configuration import Configuration
from collector.intake import Judge
from collector.learning import HeatVersion, Version, take_version
from collector.recordings import Recording
from collector.recurrence import RecurringWork
from collector.replay.hearing import Hearing, Replayed
from collector.replay.learner import Learner
from collector.replay.reasoning import Reasoning
from collector.store import RecordedBlock
from collector.telling import Person
from rules import (
    HOUR_US,
    Baseline,
    Block,
    Engine,
    Event,
    HeatModel,
    IncidentEnded,
    IncidentOpened,
    IncidentUpdated,
    Keeper,
    PlannedWork,
)

_DAY_US = 24 * HOUR_US


class Replay:
    """An engine and a desk, fed with what was recorded.

    Parameters
    ----------
    configuration
        With which it is judged.
    people
        As `DryTelling`.
    answered_after_us
        As `DryTelling`; None for never.
    reasoning
        Follows how the incidents came about, where that is wanted.
    from_us
        What happened before is judged, and not told of.
    keeper
        Keeps what the engine goes through, so that other limits can be tried on it.
    """

    def __init__(
        self,
        configuration: Configuration,
        people: Sequence[Person] = (),
        answered_after_us: int | None = None,
        reasoning: Reasoning | None = None,
        from_us: int | None = None,
        keeper: Keeper | None = None,
    ) -> None:
        self._configuration = configuration
        self._reasoning = reasoning
        self._engine = Engine(
            configuration.engine,
            on_judgement=None if reasoning is None else reasoning.judged,
            keeper=keeper,
        )
        self._hearing = Hearing(configuration, people, answered_after_us, from_us)
        # When each block ended that the engine was given.
        self.ends_us: list[int] = []
        self._learner: Learner | None = None
        # What was learned on the way, in order of application.
        self.learned: list[Version | HeatVersion] = []

    @property
    def look_back_us(self) -> int:
        """How long before the first instant that counts it must be fed for everything to be as it was."""
        return self._engine.look_back_us

    def store(
        self,
        blocks: Iterable[RecordedBlock],
        versions: Sequence[Version | HeatVersion],
        progress: Callable[[int], object] = lambda _: None,
    ) -> Replayed:
        """Go through what the store recorded; `progress` is called with the readings just judged."""

        def hear(recorded: RecordedBlock, events: tuple[Event, ...]) -> None:
            now_us = recorded.committed_us if recorded.engine_us is None else recorded.engine_us
            self._hear(events, now_us)
            progress(len(recorded.block))

        boards = {(board.tank, board.name): board.series for board in self._configuration.boards}
        Judge(self._engine, boards).replay(blocks, versions, hear)
        return self._hearing.end()

    def recording(
        self,
        recording: Recording,
        works: Sequence[RecurringWork] = (),
        versions: Sequence[Version | HeatVersion] = (),
        progress: Callable[[int], object] = lambda _: None,
        *,
        learns: bool = False,
    ) -> Replayed:
        """Go through a file's readings, sorted by time, as if each had arrived at once.

        Parameters
        ----------
        works
            What was planned.
        versions
            What was learned elsewhere, in order of application.
        progress
            Called with the readings just judged.
        learns
            Whether to learn each night from what has been recorded by then, as the service does.
        """
        engine = self._engine
        if len(recording):
            self._hearing.begin(int(recording.times_us[0]))
        known: tuple[PlannedWork, ...] = ()
        planned = _planned(recording, works)
        baselines: dict[int, Baseline] = {}
        models: dict[str, HeatModel] = {}
        waiting = deque(versions)
        self._learner = learner = Learner(self._configuration, planned) if learns else None
        refits = deque(_refits_us(learner, recording))
        changes = [*(one.applies_from_us for one in versions), *refits]
        for start, end in _cuts(recording, planned, changes):
            first_us, last_us = int(recording.times_us[start]), int(recording.times_us[end - 1])
            while learner is not None and refits and refits[0] <= first_us:
                learned = learner.fit(refits.popleft())
                waiting.extend(learned)
                self.learned += learned
            if waiting and waiting[0].applies_from_us <= first_us:
                while waiting and waiting[0].applies_from_us <= first_us:
                    take_version(waiting.popleft(), baselines, models)
                engine.set_baselines(baselines)
                engine.set_models(models)
            # Known is what begins before the block ends, until it is forgotten.
            wanted = tuple(one for one in planned if one.from_us <= last_us and one.forgotten_us > first_us)
            if wanted != known:
                engine.plan_work(wanted)
                known = wanted
            cut = slice(start, end)
            block = Block(recording.times_us[cut], recording.values[cut], recording.series[cut])
            outcome = engine.advance(block)
            if learner is not None:
                learner.take(block, outcome.primary)
            self._hear(outcome.events, last_us)
            progress(len(block))
        if len(recording):
            # What the last readings showed is known only when the allowance has passed.
            end_us = int(recording.times_us[-1]) + self._configuration.engine.allowance_us
            self._hear(engine.advance_to(end_us), end_us)
        return self._hearing.end()

    def _hear(self, events: tuple[Event, ...], now_us: int) -> None:
        if self._reasoning is not None:
            self._reasoning.follow(events)
        if self._learner is not None:
            for event in events:
                if isinstance(event, IncidentOpened | IncidentUpdated | IncidentEnded):
                    self._learner.hear(event.incident)
        self.ends_us.append(now_us)
        self._hearing.hear(events, self._engine.suppressed, now_us)


def _planned(recording: Recording, works: Iterable[RecurringWork]) -> list[PlannedWork]:
    """What comes once or again and again, as often as it comes in the time of a recording."""
    if not len(recording):
        return []
    from_us, to_us = int(recording.times_us[0]) - 2 * _DAY_US, int(recording.times_us[-1]) + HOUR_US
    return sorted(work for one in works for work in one.between(from_us, to_us))


def _refits_us(learner: Learner | None, recording: Recording) -> list[int]:
    """When a replay is to learn."""
    if learner is None or not len(recording):
        return []
    return sorted(set(learner.refits_us(int(recording.times_us[0]), int(recording.times_us[-1]))))


def _cuts(
    recording: Recording, planned: Sequence[PlannedWork], changes: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Where a recording is cut into blocks: by days, near work by hours, and where judging changes."""
    times_us = recording.times_us
    if not len(times_us):
        return
    first_us, last_us = int(times_us[0]), int(times_us[-1])
    instants = {*range(first_us, last_us + 1, _DAY_US), *changes}
    for work in planned:
        instants.update(range(work.from_us, work.settled_us + HOUR_US, HOUR_US))
    places = np.unique(np.searchsorted(times_us, sorted(instants), side="left"))
    edges = [0, *(int(place) for place in places if 0 < place < len(times_us)), len(times_us)]
    yield from itertools.pairwise(edges)
