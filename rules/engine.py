"""The engine: a pure function of the readings, whatever the blocks in which they come.

Two doors bring things in: `advance` brings readings, `advance_to` brings only time. Every alarm event
is put in an order that depends on the stream alone: by the engine's clock (the newest reading of any
series, or the time told, less the allowance) at which it is known, then by arrival. Steps, at which
whole tanks are looked at, take their turn in the same order. Incidents are made of events in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

import numpy as np

from rules.alarm import BY_CLOCK, NEVER
from rules.baseline import Baseline
from rules.blocks import Block
from rules.boards import CAUSE as BOARD_OFFLINE
from rules.boards import Boards
from rules.events import (
    AlarmEvent,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Event,
    FlagRevised,
    Incident,
)
from rules.fault_panel import Judgement
from rules.flags import Flag
from rules.floor_contact import with_floor_contacts
from rules.heat_model import HeatModel
from rules.kept import Keeper
from rules.limit_watch import OF_LIMITS
from rules.planned_work import PlannedWork, Suppressed
from rules.quality.companions import Companions
from rules.runs import runs_of
from rules.setup import HOUR_US, EngineRules
from rules.staging import RETURNED, Staged
from rules.tank_watch import Member, TankWatch
from rules.trace import LOOK_BACK_US, STEP_US
from rules.turns import Turns
from rules.watch import SeriesWatch

_PASS = int(Flag.PASS)


class Outcome(NamedTuple):
    """What came of one block; the lists have one entry a reading, in the block's order.

    `primary` are primary flags, `tests` packed flags of single tests (`rules.quality.packed`), `late`
    says which readings were not judged because a newer one of their series was there before.
    """

    primary: list[int]
    tests: list[int]
    late: list[bool]
    revised: tuple[FlagRevised, ...]
    events: tuple[Event, ...]


class Engine:
    """Judges the readings of all series of all tanks.

    Parameters
    ----------
    rules
        Tanks, series and limits.
    baselines
        Series index -> what is usual there; series without one are still learning.
    on_judgement
        Called at each step with what each fault finds that finds anything, to follow the reasoning.
    keeper
        Keeps what it goes through, so that other limits can be tried on it.
    """

    def __init__(
        self,
        rules: EngineRules,
        baselines: Mapping[int, Baseline] | None = None,
        *,
        on_judgement: Callable[[Judgement], object] | None = None,
        keeper: Keeper | None = None,
    ) -> None:
        self.rules = rules
        known = {} if baselines is None else baselines
        watched = with_floor_contacts(rules)
        self._watches = tuple(SeriesWatch(index, series) for index, series in enumerate(watched))
        self._tanks = {
            tank.name: TankWatch(
                tank,
                [
                    Member(watch.index, watch.rules, watch.trace, known.get(watch.index))
                    for watch in self._watches
                    if watch.rules.tank == tank.name
                ],
            )
            for tank in rules.tanks
        }
        for watch in self._watches:
            watch.set_baseline(known.get(watch.index))
            if Companions.are_wanted(watch.rules):
                own = [one for one in self._watches if one.rules.tank == watch.rules.tank]
                others = {one.rules.name: one.trace for one in own}
                watch.companions = Companions(watch.index, watch.rules, watch.trace, others)
        self._revised: list[FlagRevised] = []
        self._keeper = keeper
        for tank in self._tanks.values():
            tank.faults.on_judgement = on_judgement
            tank.keeper = keeper
        if keeper is not None:
            for watch in self._watches:
                watch.keeper = keeper
                keeper.know(watch.limits)
        self._boards = Boards()
        self._turns = Turns()
        self._newest_us = -NEVER
        self._arrivals = 0
        self._step: int | None = None
        self._is_listening = True

    @property
    def look_back_us(self) -> int:
        """How far back readings must be replayed after a restart for every feature and delay to be right."""
        # The delays of faults and rates run on traces that look back themselves.
        delays_us = max((tank.longest_delay_us for tank in self._tanks.values()), default=0)
        longest_us = LOOK_BACK_US + max(2 * HOUR_US, delays_us)
        for series in self.rules.series:
            if series.flat_line is not None:
                longest_us = max(longest_us, 2 * series.flat_line.fail_after_us)
            if series.gap is not None:
                longest_us = max(longest_us, 2 * series.gap.fail_after_us)
            for alarm in series.limit_alarms:
                longest_us = max(longest_us, 2 * (alarm.on_delay_us + alarm.off_delay_us))
        return longest_us

    @property
    def open_incidents(self) -> tuple[Incident, ...]:
        """Incidents that have not ended."""
        return self._turns.incidents.open_incidents

    # -- the two doors -----------------------------------------------------------------------------

    def advance(self, block: Block) -> Outcome:
        """Take a block of readings; return their flags and what happened."""
        count = len(block.times_us)
        if not count:
            return Outcome([], [], [], (), ())
        first = self._arrivals
        self._arrivals += count
        primary, tests, late = [_PASS] * count, [0] * count, [False] * count
        revised: list[FlagRevised] = []
        clock_us = self._clock_us
        runs = runs_of(block, first, self._newest_us, self.rules.allowance_us)
        for index, sequences, times_us, values, clocks_us, survey in runs:
            judged = self._watches[index].judge(times_us, values, sequences, clocks_us, survey)
            if not judged.is_plain:
                found = zip(sequences, judged.primary, judged.packed, judged.late, strict=True)
                for sequence, flag, bits, is_late in found:
                    position = sequence - first
                    primary[position], tests[position], late[position] = flag, bits, is_late
            if judged.revised is not None:
                revised.append(judged.revised)
            if judged.staged:
                self._stage(judged.staged)
            if clocks_us[-1] > clock_us:
                clock_us = clocks_us[-1]
        self._newest_us = clock_us + self.rules.allowance_us
        self._expire(clock_us)
        events = self._release(clock_us)
        if self._keeper is not None:
            self._keeper.close(clock_us, self.suppressed)
        if self._revised:
            revised += self.take_revised()
        return Outcome(primary, tests, late, tuple(revised), events)

    def advance_to(self, time_us: int) -> tuple[Event, ...]:
        """Let time pass without readings: silence, on-delays and off-delays end."""
        self._newest_us = max(self._newest_us, time_us)
        self._expire(self._clock_us)
        events = self._release(self._clock_us)
        if self._keeper is not None:
            self._keeper.close(self._clock_us, self.suppressed)
        return events

    def take_revised(self) -> tuple[FlagRevised, ...]:
        """Give up flags that have changed while time alone passed, or a board's word was taken."""
        revised, self._revised = tuple(self._revised), []
        return revised

    # -- other inputs ------------------------------------------------------------------------------

    def board_changed(
        self, at_us: int, tank: str, board: str, series: tuple[str, ...], is_online: bool
    ) -> tuple[Event, ...]:
        """Take the word of a board's last will, or of its return."""
        self._newest_us = max(self._newest_us, at_us)
        self._expire(self._clock_us)
        # Steps that are due see the boards as they were until now.
        before = self._release(self._clock_us)
        self._turns.stage(
            self._boards.change(
                at_us,
                (tank, board),
                series,
                is_online=is_online,
                sequence=self._arrivals,
                clock_us=self._clock_us,
                is_listening=self._is_listening,
            )
        )
        self._arrivals += 1
        return (*before, *self._release(self._clock_us))

    def stop_listening(self) -> None:
        """Nothing can be heard from now on: no delay or silence ends by the clock."""
        self._is_listening = False
        for watch in self._watches:
            watch.is_listening = False
        for tank in self._tanks.values():
            tank.listen_from(None)

    def listen_from(self, time_us: int) -> None:
        """Everything is heard again from this instant on; silence counts from here."""
        self._is_listening = True
        for watch in self._watches:
            watch.listen_from(time_us)
        for tank in self._tanks.values():
            tank.listen_from(time_us)

    def set_baselines(self, baselines: Mapping[int, Baseline]) -> None:
        """Judge by these baselines from now on; series without one start to learn again."""
        for watch in self._watches:
            watch.set_baseline(baselines.get(watch.index))
        for tank in self._tanks.values():
            for member in tank.members:
                member.baseline = baselines.get(member.index)

    def set_models(self, models: Mapping[str, HeatModel]) -> None:
        """Judge the tanks of these names by these models of their heat from now on, the others by none."""
        for name, tank in self._tanks.items():
            tank.heat = models.get(name)

    def plan_work(self, works: Iterable[PlannedWork]) -> None:
        """Suppress by design what these works disturb, from now on and instead of those told before.

        A work must be told until it is forgotten (`PlannedWork.forgotten_us`); one that ends early or
        late is told with its new end. Works on tanks that are not known are passed over.
        """
        works = tuple(works)
        if self._keeper is not None:
            self._keeper.plan_work(works)
        for tank in self._tanks.values():
            tank.plan_work(work for work in works if work.tank == tank.rules.name)
        for watch in self._watches:
            watch.plan_work(work for work in works if work.tank == watch.rules.tank)

    @property
    def suppressed(self) -> tuple[Suppressed, ...]:
        """Alarms whose condition was seen during the works that are known, in order of time."""
        found = [one for tank in self._tanks.values() for one in tank.suppressed]
        for watch in self._watches:
            found += watch.suppressed(self._clock_us)
        return tuple(sorted(found, key=lambda one: (one.first_us, one.alarm.series, one.alarm.cause)))

    def remember(self, series: int, last_us: int, value: float) -> None:
        """Take over the last reading of a series where it lies before the look-back."""
        self._watches[series].remember(last_us, value)

    def restore(self, incidents: Iterable[tuple[Incident, Iterable[AlarmRaised]]], next_number: int) -> None:
        """Take over open incidents after a restart.

        Each comes with its alarms that are still active; all other alarms are normal. One that nothing
        watches any more, for the configuration has changed, returns to normal next.
        Call it after the readings of the look-back have been advanced through, their events dropped.
        """
        found = [(incident, tuple(active)) for incident, active in incidents]
        wanted = {raised.alarm: raised for _, active in found for raised in active}
        # What was waiting for its turn when the service stopped has not been recorded: it still waits.
        for staged in self._turns.waiting:
            if isinstance(staged.event, AlarmRaised):
                wanted[staged.event.alarm] = staged.event
            else:
                wanted.pop(staged.event.alarm, None)
        self._end_unwatched(wanted)
        for watch in self._watches:
            own = {
                alarm.cause: raised.first_evidence_us
                for alarm, raised in wanted.items()
                if (alarm.tank, alarm.series) == (watch.rules.tank, watch.rules.name)
            }
            watch.adopt(own)
        for tank in self._tanks.values():
            tank.adopt(wanted)
        self._boards.adopt(
            raised
            for _, active in found
            for raised in active
            if raised.alarm.cause == BOARD_OFFLINE and raised.alarm in wanted
        )
        self._turns.incidents.restore(found, next_number)

    def _end_unwatched(self, active: dict[AlarmKey, AlarmRaised]) -> None:
        """Take out alarms that nothing watches, and let them return to normal now.

        Else their incidents would stay open for ever, and later alarms join them without ringing.
        """
        watched = {
            AlarmKey(watch.rules.tank, watch.rules.name, cause)
            for watch in self._watches
            for cause in watch.causes
        }
        watched.update(key for tank in self._tanks.values() for key in tank.causes)
        for alarm in [alarm for alarm in active if alarm.cause != BOARD_OFFLINE and alarm not in watched]:
            at_us = max(self._newest_us, active.pop(alarm).first_evidence_us)
            name = ":".join((alarm.tank, alarm.series, alarm.cause))
            event = AlarmReturned(at_us, alarm)
            self._turns.stage([Staged(self._clock_us, BY_CLOCK, at_us, RETURNED, -1, name, event)])

    # -- order and release -------------------------------------------------------------------------

    @property
    def _clock_us(self) -> int:
        return self._newest_us - self.rules.allowance_us

    def _expire(self, clock_us: int) -> None:
        if not self._is_listening:
            return
        for watch in self._watches:
            if watch.wakes_us <= clock_us:
                self._stage(watch.expire(clock_us))
        if staged := self._boards.expire(clock_us):
            self._stage(staged)

    def _stage(self, staged: Iterable[Staged]) -> None:
        self._turns.stage(staged)
        if self._keeper is not None:
            self._keeper.stage(staged)

    def _release(self, clock_us: int) -> tuple[Event, ...]:
        """Steps and events whose turn has come; each alarm event is followed by what it means."""
        if self._turns.is_empty and self._step is not None and clock_us < (self._step + 1) * STEP_US:
            return ()
        # An infinite reading less another is not known, which is what NaN says.
        with np.errstate(invalid="ignore"):
            return self._turns.release(clock_us, self._next_step, self._take_step, self._explained)

    def _explained(self, staged: Staged) -> Iterable[AlarmEvent]:
        """What a limit says together with the fault that explains it; anything else as it is."""
        event = staged.event
        if isinstance(event, AlarmRaised) and event.alarm.cause in OF_LIMITS:
            return self._tanks[event.alarm.tank].faults.on_limit(event)
        return (event,)

    def _next_step(self, clock_us: int) -> int | None:
        """The next step at which there is anything to look at, if the clock has reached its end."""
        last = clock_us // STEP_US - 1
        step = 0 if self._step is None else self._step
        if step > last:
            return None
        found = [first for tank in self._tanks.values() if (first := tank.next_step(step)) is not None]
        # Steps at which every tank sleeps are jumped.
        self._step = min(found, default=last + 1)
        return self._step if self._step <= last else None

    def _take_step(self, step: int) -> None:
        for name, tank in self._tanks.items():
            if tank.next_step(step) != step:
                continue
            self._turns.stage(tank.step(step, self._boards.offline(name, (step + 1) * STEP_US)))
        for watch in self._watches:
            if watch.companions is not None:
                self._revised += watch.judge_companions(step)
        self._step = step + 1
