"""Everything that is watched of one series by its readings: their flags, its limits, its silence.

A watch sees only the readings of its own series, in order, each with its arrival number and the
engine's clock when it came; what it stages is put in order by the engine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from rules.alarm import NEVER, Change, DelayedAlarm
from rules.events import FlagRevised, Priority
from rules.flags import Flag
from rules.limit_watch import LimitWatches
from rules.quality.flat_line import FAIL as FLAT_FAIL
from rules.quality.flat_line import NOT_EVALUATED as FLAT_NOT_EVALUATED
from rules.quality.flat_line import SUSPECT as FLAT_SUSPECT
from rules.quality.gross_range import FAIL as RANGE_FAIL
from rules.quality.packed import MISSING_THROUGHOUT
from rules.quality.suite import QualitySuite
from rules.setup import SeriesRules
from rules.silence import Silence
from rules.staging import Stage, Staged
from rules.trace import MINUTE_US, Trace

# A sensor that gives impossible values for two minutes is gone; a single such value is a bad contact
# or a lost bit on the wire. Longer would leave the tank unwatched, shorter would ring for a glitch.
PROBE_DELAY_US = 2 * MINUTE_US
# A stuck probe that moves is believed only after ten minutes, for a bad contact comes and goes.
STUCK_OFF_DELAY_US = 10 * MINUTE_US
_FLAT_NIBBLE = 0xF * (FLAT_FAIL // int(Flag.FAIL))
_RANGE_NIBBLE = 0xF * (RANGE_FAIL // int(Flag.FAIL))


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
        self._stuck = DelayedAlarm(0, STUCK_OFF_DELAY_US, gap_us)
        self._out_of_range = DelayedAlarm(PROBE_DELAY_US, PROBE_DELAY_US, gap_us)
        self._silence = None if rules.gap is None else Silence(rules.gap.fail_after_us)
        self.trace = Trace()
        self._stage = Stage(index, rules, self._priorities())
        for watch in self._limits.watches:
            self._stage.name_setpoint(watch.cause, watch.alarm.setpoint)
        self._timed = tuple(delays for _, delays in self._by_reading())
        self._last_us = -NEVER
        self.is_listening = True
        # The engine's clock at which a delay or a silence may end; nothing can before.
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
        if self._silence is not None:
            self._silence.force("probe_silent" in active)
        self._set_wake()

    def judge(
        self, times_us: list[int], values: list[float], sequences: list[int], clocks_us: list[int]
    ) -> Judged:
        """Take readings of this series in order of arrival.

        A reading that is not newer than the newest before it is late: stored by others, not judged
        here. NaN is MISSING and otherwise ignored.
        """
        count = len(times_us)
        kept = self._in_order(times_us, values)
        if kept is None:
            return self._judge_in_order(times_us, values, sequences, clocks_us)
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

    def _in_order(self, times_us: list[int], values: list[float]) -> list[int] | None:
        """Positions of readings to judge, or None for all of them."""
        last_us = self._last_us
        for time_us in times_us:
            if time_us <= last_us:
                break
            last_us = time_us
        else:
            if not math.isnan(sum(values)):
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
        self, times_us: list[int], values: list[float], sequences: list[int], clocks_us: list[int]
    ) -> Judged:
        verdicts = self._quality.judge(times_us, values)
        revised = None if verdicts.revised is None else FlagRevised(self.index, *verdicts.revised)
        stage = self._stage
        stage.see(times_us, values)
        if self._silence is not None:
            stage.add("probe_silent", self._silence.judge(times_us, sequences, clocks_us, self.is_listening))
        self._judge_probe(times_us, sequences, clocks_us, verdicts.packed)
        kept = _plausible(verdicts.packed)
        packed = verdicts.packed
        if kept is None:
            plausible = self._judge_water(times_us, values, sequences, clocks_us, packed)
        else:
            plausible = self._judge_water(
                [times_us[i] for i in kept],
                [values[i] for i in kept],
                [sequences[i] for i in kept],
                [clocks_us[i] for i in kept],
                [packed[i] for i in kept],
            )
        self._last_us = times_us[-1]
        self._set_wake()
        staged = stage.finish(values[-1], plausible)
        is_plain = not any(packed) and verdicts.primary[-1] == Flag.PASS
        return Judged(verdicts.primary, packed, [False] * len(times_us), revised, staged, is_plain)

    def _judge_water(
        self,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
        packed: list[int],
    ) -> float | None:
        """Watch limits, and keep the trace, by what the sensor can give; return the last such value."""
        if not times_us:
            return None
        self._stage.see(times_us, values)
        is_flat = None
        if any(bits & _FLAT_NIBBLE == FLAT_FAIL for bits in set(packed)):
            is_flat = [bits & _FLAT_NIBBLE == FLAT_FAIL for bits in packed]
        self.trace.collect(times_us, values, clocks_us, is_flat)
        for cause, changes in self._limits.judge(times_us, values, sequences, clocks_us, self.is_listening):
            self._stage.add(cause, changes)
        return values[-1]

    def _judge_probe(
        self, times_us: list[int], sequences: list[int], clocks_us: list[int], packed: list[int]
    ) -> None:
        """Watch the probe itself by the flags of its readings."""
        seen = set(packed)
        for cause, delays, nibble, on, neither in (
            ("probe_out_of_range", self._out_of_range, _RANGE_NIBBLE, RANGE_FAIL, ()),
            # A flat line that is suspect or cannot be judged yet, as behind a gap, ends no alarm.
            ("probe_stuck", self._stuck, _FLAT_NIBBLE, FLAT_FAIL, (FLAT_SUSPECT, FLAT_NOT_EVALUATED)),
        ):
            if delays.is_idle and all(bits & nibble != on for bits in seen):
                delays.skip_to(times_us[-1], clocks_us[-1])
                continue
            changes: list[Change] = []
            for position, bits in enumerate(packed):
                verdict = bits & nibble
                changes += delays.observe(
                    times_us[position],
                    sequences[position],
                    clocks_us[position],
                    verdict == on,
                    verdict != on and verdict not in neither,
                    self.is_listening,
                )
            self._stage.add(cause, changes)

    def _set_wake(self) -> None:
        wakes_us = NEVER if self._silence is None else self._silence.wakes_us
        if not (self._limits.is_idle and self._stuck.is_idle and self._out_of_range.is_idle):
            for delays in self._timed:
                if delays.due_us != NEVER:
                    wakes_us = min(wakes_us, delays.wakes_us)
        self.wakes_us = wakes_us

    # -- the alarms of this series -----------------------------------------------------------------

    def _priorities(self) -> dict[str, Priority]:
        return {watch.cause: watch.alarm.priority for watch in self._limits.watches}

    def _by_reading(self) -> Iterable[tuple[str, DelayedAlarm]]:
        """Alarms whose delays may end by the clock alone."""
        yield "probe_out_of_range", self._out_of_range
        yield "probe_stuck", self._stuck
        for watch in self._limits.watches:
            yield watch.cause, watch.delays


def _plausible(packed: list[int]) -> list[int] | None:
    """Positions of readings that the sensor can give; None for all of them."""
    if all(bits & _RANGE_NIBBLE != RANGE_FAIL for bits in set(packed)):
        return None
    return [position for position, bits in enumerate(packed) if bits & _RANGE_NIBBLE != RANGE_FAIL]
