"""Other limits over what an engine went through: the same alarms and incidents, in a hundredth of the time.

What limits have no part in (flags, looks, what each fault saw, silence) was kept by a `rules.kept.Keeper`.
Limits are judged anew, once for each that differs; then who speaks and what becomes an incident follows by
the very parts of the engine, in the same order.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from rules.alarm import NEVER
from rules.events import AlarmEvent, AlarmKey, AlarmRaised, Event
from rules.fault_panel import FaultPanel
from rules.faults import FAULTS
from rules.floor_contact import with_floor_contacts
from rules.kept import KeptBlock, KeptStep
from rules.limit_jumps import jump
from rules.limit_watch import OF_LIMITS, LimitWatches, hidden_alarm
from rules.look import Look
from rules.planned_work import PlannedWork, Suppressed
from rules.quantities import TWO_STATE
from rules.roles import roles_of
from rules.setup import EngineRules, LimitAlarm, SeriesRules, TankRules
from rules.staging import Stage, Staged
from rules.trace import STEP_US
from rules.turns import Turns


class Rerun(NamedTuple):
    """What comes of one block of the engine: what happened, and what was suppressed by design at its end."""

    events: tuple[Event, ...]
    suppressed: tuple[Suppressed, ...]


class _Judged(NamedTuple):
    """What one series' limits say in one block."""

    staged: list[Staged]
    suppressed: tuple[Suppressed, ...]


def but_limits(rules: EngineRules) -> EngineRules:
    """What may not differ between the rules of a rerun and those by which it was kept.

    Danger lines stay where they are, for projections run to them, and so do the limits of contacts.
    """
    return replace(rules, series=tuple(replace(one, limit_alarms=_fixed(one)) for one in rules.series))


def _fixed(series: SeriesRules) -> tuple[LimitAlarm, ...]:
    if series.quantity in TWO_STATE:
        return series.limit_alarms
    return tuple(
        replace(one, deadband=0.0, on_delay_us=0, off_delay_us=0, priority=series.probe_priority)
        for one in series.limit_alarms
        if one.is_danger
    )


class Reruns:
    """Tries limits over what was kept.

    Parameters
    ----------
    blocks
        As they were kept.
    """

    def __init__(self, blocks: Sequence[KeptBlock]) -> None:
        self._blocks = tuple(blocks)
        self._steps = _Steps([step for block in self._blocks for step in block.steps])
        self._judged: dict[tuple[int, tuple[LimitAlarm, ...]], list[_Judged]] = {}

    def run(self, rules: EngineRules) -> Iterator[Rerun]:
        """What comes of each block by rules that differ in limits alone (`but_limits`)."""
        series = with_floor_contacts(rules)
        limits = [self._limits(index, one) for index, one in enumerate(series) if one.limit_alarms]
        turns = Turns()
        steps = _Taking(rules, series, turns, self._steps)
        works: tuple[PlannedWork, ...] = ()
        for number, block in enumerate(self._blocks):
            if block.works != works:
                works = block.works
                steps.plan_work(works)
            turns.stage(block.staged)
            hidden = list(block.suppressed)
            for judged in limits:
                turns.stage(judged[number].staged)
                hidden += judged[number].suppressed
            events = steps.release(block)
            yield Rerun(events, tuple(hidden))

    def _limits(self, index: int, series: SeriesRules) -> list[_Judged]:
        """What the limits of a series say, block by block."""
        asked = index, series.limit_alarms
        if asked not in self._judged:
            self._judged[asked] = list(self._judge(index, series))
        return self._judged[asked]

    def _judge(self, index: int, series: SeriesRules) -> Iterator[_Judged]:
        gap_us = NEVER if series.gap is None else series.gap.fail_after_us
        limits = LimitWatches(series.limit_alarms, series.quantity, gap_us)
        stage = Stage(index, series, limits.priorities)
        limits.name_setpoints(stage)
        works: tuple[PlannedWork, ...] = ()
        for block in self._blocks:
            if block.works != works:
                works = block.works
                limits.plan_work([one for one in works if one.tank == series.tank], series.quantity)
            water = block.water.get(index)
            staged: list[Staged] = []
            if water is not None:
                found = [(watch.cause, jump(watch, water, gap_us)) for watch in limits.watches]
                if any(changes for _, changes in found):
                    stage.see(water.times_us.tolist(), water.values.tolist())
                    for cause, changes in found:
                        stage.add(cause, changes)
                last = float(water.values[-1])
                staged += stage.finish(last, last)
            for watch in limits.watches:
                change = watch.delays.expire(block.clock_us)
                if change is not None:
                    stage.add(watch.cause, [change])
            staged += stage.take()
            yield _Judged(staged, tuple(_hidden(series, limits)))


def _hidden(series: SeriesRules, limits: LimitWatches) -> Iterable[Suppressed]:
    for watch in limits.watches:
        if watch.delays.hidden_us != NEVER:
            yield hidden_alarm(AlarmKey(series.tank, series.name, watch.cause), watch.delays)


class _Steps:
    """All steps that were kept, in order."""

    def __init__(self, steps: Sequence[KeptStep]) -> None:
        self.steps = steps
        self.numbers = [one.step for one in steps]
        self.of_tank: dict[str, list[int]] = {}
        for place, one in enumerate(steps):
            self.of_tank.setdefault(one.tank.rules.name, []).append(place)
        # From each place on the next at which something is seen, and one behind the last for none.
        self.eventful = [len(steps)] * (len(steps) + 1)
        for place in range(len(steps) - 1, -1, -1):
            self.eventful[place] = place if steps[place].concerns_idle else self.eventful[place + 1]


class _Taking:
    """Takes steps that were kept, and lets faults speak."""

    def __init__(self, rules: EngineRules, series: Sequence[SeriesRules], turns: Turns, kept: _Steps) -> None:
        self._turns = turns
        self._kept = kept
        self._panels = {tank.name: self._panel(tank, series) for tank in rules.tanks}
        self._place = self._end = 0
        # How series look behind works at the newest step, by tank.
        self._settled: dict[str, Mapping[str, Look]] = {}

    def _panel(self, tank: TankRules, series: Sequence[SeriesRules]) -> FaultPanel:
        def behind_works(look: Look) -> Look:
            return self._settled.get(tank.name, {}).get(look.name, look)

        own = {index: one for index, one in enumerate(series) if one.tank == tank.name}
        return FaultPanel(tank, own, FAULTS.values(), roles_of(tank, series), behind_works)

    def plan_work(self, works: Sequence[PlannedWork]) -> None:
        """Know what was planned."""
        for name, panel in self._panels.items():
            panel.keep_suppressed([one for one in works if one.tank == name])

    def release(self, block: KeptBlock) -> tuple[Event, ...]:
        """Take the steps of a block, and what waits for its turn by its end."""
        self._end += len(block.steps)
        return self._turns.release(block.clock_us, self._next, self._take, self._explained)

    def _next(self, _clock_us: int) -> int | None:
        """The next step at which anything can come of what is seen."""
        place = self._place
        if not any(panel.is_active for panel in self._panels.values()):
            place = self._kept.eventful[place]
        return self._kept.numbers[place] if place < self._end else None

    def _take(self, step: int) -> None:
        self._pass_to(bisect_left(self._kept.numbers, step))
        while self._place < self._end and self._kept.numbers[self._place] == step:
            self._see(self._place)
            self._place += 1

    def _pass_to(self, place: int) -> None:
        """Pass over steps at which nothing is seen: the newest of each tank is what a limit asks later."""
        if place <= self._place:
            return
        for places in self._kept.of_tank.values():
            newest = bisect_left(places, place) - 1
            if newest >= 0 and places[newest] >= self._place:
                self._see(places[newest])
        self._place = place

    def _see(self, place: int) -> None:
        kept = self._kept.steps[place]
        name = kept.tank.rules.name
        self._settled[name] = kept.settled
        self._turns.stage(self._panels[name].take(kept.tank, kept.sights))

    def _explained(self, staged: Staged) -> Iterable[AlarmEvent]:
        event = staged.event
        if not isinstance(event, AlarmRaised) or event.alarm.cause not in OF_LIMITS:
            return (event,)
        taken = bisect_right(self._kept.numbers, staged.order_us // STEP_US - 1)
        self._pass_to(min(taken, self._end))
        return self._panels[event.alarm.tank].on_limit(event)
