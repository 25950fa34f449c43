"""Everything that is watched of one series by its readings: their flags, its limits, its silence.

A watch sees only the readings of its own series, in order, each with its arrival number and the
engine's clock when it came; what it stages is put in order by the engine.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from rules.alarm import NEVER, DelayedAlarm
from rules.baseline import Baseline
from rules.events import AlarmKey, FlagRevised
from rules.flags import Flag
from rules.kept import Keeper
from rules.limit_watch import LimitWatches, hidden_alarm
from rules.planned_work import PlannedWork, Span, Suppressed, spans
from rules.probe_watch import ProbeWatch, flat, plausible
from rules.quality.companions import Companions
from rules.quality.disturbed import is_disturbed, without_disturbed
from rules.quality.packed import MISSING_THROUGHOUT
from rules.quality.suite import QualitySuite
from rules.setup import SeriesRules
from rules.silence import Silence
from rules.staging import Stage, Staged
from rules.survey import Survey
from rules.trace import Trace

_PASS = int(Flag.PASS)


class Judged(NamedTuple):
    """Flags of the readings of one call, in their order, and what else came of them."""

    primary: list[int]
    packed: list[int]
    late: list[bool]
    revised: FlagRevised | None
    staged: list[Staged]
    # Whether all passed throughout and none was late: nothing of it needs to be written down.
    is_plain: bool


class SeriesWatch:
    """The state of one series.

    Parameters
    ----------
    index
        Position of the series in `EngineRules.series`.
    rules
        Its limits.
    """

    def __init__(self, index: int, rules: SeriesRules) -> None:
        self.index = index
        self.rules = rules
        gap_us = NEVER if rules.gap is None else rules.gap.fail_after_us
        self._quality = QualitySuite(rules)
        self._limits = LimitWatches(rules.limit_alarms, rules.quantity, gap_us)
        self._probe = ProbeWatch(gap_us)
        self._silence = None if rules.gap is None else Silence(rules.gap.fail_after_us)
        self.trace = Trace()
        # Tests beside other series; the engine gives them to a series that has some.
        self.companions: Companions | None = None
        self._stage = Stage(index, rules, self._limits.priorities)
        self._limits.name_setpoints(self._stage)
        # Keeps the readings that limits see, where that is wanted.
        self.keeper: Keeper | None = None
        self._timed = tuple(delays for _, delays in self._by_reading())
        self._last_us = -NEVER
        # Stretches of planned work that make the series move as water does not.
        self.disturbed: tuple[Span, ...] = ()
        self.is_listening = True
        # The engine's clock before which no delay and no silence can end. Where only silence can at all,
        # this is not kept up to date: readings make it later, and `expire` looks again.
        self.wakes_us = NEVER

    # -- what comes in -----------------------------------------------------------------------------

    def listen_from(self, time_us: int) -> None:
        """Count silence from this instant on."""
        self.is_listening = True
        if self._silence is not None:
            self._silence.listen_from(time_us)
        self._set_wake()

    @property
    def causes(self) -> frozenset[str]:
        """Causes of the alarms that this series can have."""
        silent = () if self._silence is None else ("probe_silent",)
        return frozenset((*silent, *(cause for cause, _ in self._by_reading())))

    @property
    def limits(self) -> Iterable[AlarmKey]:
        """Those of its alarms that are raised by limits."""
        return (AlarmKey(self.rules.tank, self.rules.name, watch.cause) for watch in self._limits.watches)

    def set_baseline(self, baseline: Baseline | None) -> None:
        """Judge readings from now on by what is usual; None while that is learned."""
        self._quality.set_band_source(baseline)

    def judge_companions(self, step: int) -> list[FlagRevised]:
        """Judge the cell of a step beside other series; return the readings whose flags change."""
        if self.companions is None:
            return []
        revised = self.companions.judge(step, self.disturbed)
        if revised and revised[-1].observed_us == self._last_us:
            # What is still to be said of the newest reading must not take this back.
            self._quality.add_to_last(revised[-1].tests)
        return revised

    def plan_work(self, works: Iterable[PlannedWork]) -> None:
        """Suppress by design what these works on the tank disturb, instead of those told before."""
        works, quantity = tuple(works), self.rules.quantity
        self.disturbed = spans(work for work in works if work.disturbs(quantity))
        self._limits.plan_work(works, quantity)
        for cause, delays in self._probe.delays.items():
            delays.suppress(spans(one for one in works if one.suppresses(cause)))
        if self._silence is not None:
            self._silence.suppress(spans(work for work in works if work.suppresses("probe_silent")))
        self._set_wake()

    def suppressed(self, clock_us: int) -> Iterable[Suppressed]:
        """Alarms whose condition was seen during planned work."""
        tank, name = self.rules.tank, self.rules.name
        for cause, delays in self._by_reading():
            if delays.hidden_us != NEVER:
                yield hidden_alarm(AlarmKey(tank, name, cause), delays)
        silence = self._silence
        if silence is not None and (hidden_us := silence.hidden_us(clock_us)) != NEVER:
            yield Suppressed(AlarmKey(tank, name, "probe_silent"), hidden_us, clock_us, silence.due_us)

    def remember(self, last_us: int, value: float) -> None:
        """Take over the last reading where none has been judged: its silence counts from there."""
        if self._silence is not None and self._last_us == -NEVER:
            self._silence.remember(last_us)
            self._stage.remember(value)
            self._set_wake()

    def adopt(self, active: Mapping[str, int]) -> None:
        """Take over which alarms were active before a restart, and since when; the others are normal."""
        for cause, delays in self._by_reading():
            if delays.is_active != (cause in active):
                delays.force(cause in active, active.get(cause, 0))
        self._limits.refresh()
        self._probe.refresh()
        if self._silence is not None:
            self._silence.force("probe_silent" in active)
        self._set_wake()

    def judge(
        self,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
        survey: Survey | None = None,
    ) -> Judged:
        """Take readings of this series in order of arrival, with a survey of them if there is one.

        A reading that is not newer than the newest before it is late: stored by others, not judged
        here. NaN is MISSING and otherwise ignored.
        """
        kept = self._in_order(times_us, values, survey)
        if kept is None:
            return self._judge_in_order(times_us, values, sequences, clocks_us, survey)
        count = len(times_us)
        late = [True] * count
        packed = [0] * count
        flags = [int(Flag.NOT_EVALUATED)] * count
        for position, value in enumerate(values):
            if value != value:
                late[position] = False
                packed[position], flags[position] = MISSING_THROUGHOUT, int(Flag.MISSING)
        if not kept:
            return Judged(flags, packed, late, None, [], False)
        judged = self._judge_in_order(
            [times_us[i] for i in kept],
            [values[i] for i in kept],
            [sequences[i] for i in kept],
            [clocks_us[i] for i in kept],
            None,
        )
        for place, position in enumerate(kept):
            flags[position] = judged.primary[place]
            packed[position] = judged.packed[place]
            late[position] = False
        return Judged(flags, packed, late, judged.revised, judged.staged, False)

    def expire(self, clock_us: int) -> list[Staged]:
        """Let delays and silence end by the clock."""
        if not self.is_listening:
            return []
        for cause, delays in self._by_reading():
            if delays.due_us != NEVER and (change := delays.expire(clock_us)) is not None:
                self._stage.add(cause, [change])
        if self._silence is not None and (change := self._silence.expire(clock_us)) is not None:
            self._stage.add("probe_silent", [change])
        self._set_wake()
        return self._stage.take()

    # -- the path of readings in order -------------------------------------------------------------

    def _in_order(self, times_us: list[int], values: list[float], survey: Survey | None) -> list[int] | None:
        """Positions of readings to judge, or None for all of them."""
        last_us = self._last_us
        if survey is not None and times_us[0] > last_us and survey.shortest_us > 0 and survey.is_whole:
            return None
        for time_us in times_us:
            if time_us <= last_us:
                break
            last_us = time_us
        else:
            total = sum(values)
            if total == total:
                return None
        kept = []
        last_us = self._last_us
        for position, time_us in enumerate(times_us):
            value = values[position]
            if time_us > last_us and value == value:
                kept.append(position)
                last_us = time_us
        return kept

    def _judge_in_order(
        self,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
        survey: Survey | None,
    ) -> Judged:
        verdicts = self._quality.judge(times_us, values, survey)
        packed = verdicts.packed
        revised = None if verdicts.revised is None else FlagRevised(self.index, *verdicts.revised)
        if revised is not None and is_disturbed(revised.observed_us, self.disturbed):
            revised = None
        if revised is not None and self.companions is not None:
            self.companions.revise(revised.observed_us, revised.tests)
        stage = self._stage
        stage.see(times_us, values)
        if self._silence is not None:
            changes = self._silence.judge(times_us, sequences, clocks_us, self.is_listening, survey)
            if changes:
                stage.add("probe_silent", changes)
        for cause, changes in self._probe.judge(times_us, packed, sequences, clocks_us, self.is_listening):
            stage.add(cause, changes)
        is_clean = not any(packed)
        kept = None if is_clean else plausible(packed)
        if kept is None:
            is_flat = None if is_clean else flat(packed)
            last_plausible = self._judge_water(times_us, values, sequences, clocks_us, is_flat, survey)
        else:
            stage.see([times_us[i] for i in kept], [values[i] for i in kept])
            last_plausible = self._judge_water(
                [times_us[i] for i in kept],
                [values[i] for i in kept],
                [sequences[i] for i in kept],
                [clocks_us[i] for i in kept],
                flat([packed[i] for i in kept]),
                None,
            )
        self._last_us = times_us[-1]
        if self.wakes_us == NEVER or not (self._limits.is_idle and self._probe.is_idle):
            self._set_wake()
        staged = stage.finish(values[-1], last_plausible)
        flags = verdicts.primary
        if self.disturbed:
            packed, flags = without_disturbed(self.rules, self.disturbed, times_us, packed, flags)
            is_clean = not any(packed)
        if self.companions is not None:
            self.companions.add(times_us, packed, clocks_us)
        is_plain = is_clean and flags[-1] == _PASS
        return Judged(flags, packed, [False] * len(times_us), revised, staged, is_plain)

    def _judge_water(
        self,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
        is_flat: list[bool] | None,
        survey: Survey | None,
    ) -> float | None:
        """Watch limits, and keep the trace, by what the sensor can give; return the last such value."""
        if not times_us:
            return None
        self.trace.collect(times_us, values, clocks_us, is_flat)
        if self.keeper is not None:
            self.keeper.see_water(self.index, times_us, values, sequences, clocks_us)
        found = self._limits.judge(times_us, values, sequences, clocks_us, self.is_listening, survey)
        for cause, changes in found:
            self._stage.add(cause, changes)
        return values[-1]

    def _set_wake(self) -> None:
        wakes_us = NEVER if self._silence is None else self._silence.due_us
        if not (self._limits.is_idle and self._probe.is_idle):
            for delays in self._timed:
                if delays.due_us != NEVER:
                    wakes_us = min(wakes_us, delays.wakes_us)
        self.wakes_us = wakes_us

    # -- the alarms of this series -----------------------------------------------------------------

    def _by_reading(self) -> Iterable[tuple[str, DelayedAlarm]]:
        """Alarms whose delays may end by the clock alone."""
        yield from self._probe.delays.items()
        for watch in self._limits.watches:
            yield watch.cause, watch.delays
