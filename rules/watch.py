"""Everything that is watched of one series: its readings' flags, its minutes, its alarms.

A watch sees only the readings of its own series, in order, each with its arrival number and the
engine's clock when it came; what it stages is put in order by the engine.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from rules.alarm import NEVER, Change, DelayedAlarm
from rules.baseline import Baseline
from rules.events import AlarmEvent, AlarmKey, AlarmRaised, AlarmReturned, Evidence, FlagRevised, Priority
from rules.faults import Fault
from rules.features import MINUTE_US, Features, MinuteGrid
from rules.flags import Flag
from rules.limit_watch import LimitWatch
from rules.projection import project
from rules.quality.flat_line import FAIL as FLAT_FAIL
from rules.quality.flat_line import SUSPECT as FLAT_SUSPECT
from rules.quality.flat_line import FlatLine
from rules.quality.gap import Gap
from rules.quality.gross_range import FAIL as RANGE_FAIL
from rules.quality.gross_range import GrossRange
from rules.quality.packed import MISSING_THROUGHOUT, primary
from rules.quality.rate_of_change import RateOfChange
from rules.quality.spike import Spike
from rules.setup import SeriesRules
from rules.silence import Silence

# A sensor that gives impossible values for two minutes is gone; a single such value is a bad contact
# or a lost bit on the wire. Longer would leave the tank unwatched, shorter would ring for a glitch.
PROBE_DELAY_US = 2 * MINUTE_US
# A stuck probe that moves is believed only after ten minutes, for a bad contact comes and goes.
STUCK_OFF_DELAY_US = 10 * MINUTE_US
# Feature rows farther apart than this do not carry a running delay from one to the next.
ROW_GAP_US = 60 * MINUTE_US
_FLAT_NIBBLE = 0xF * (FLAT_FAIL // int(Flag.FAIL))
_RANGE_NIBBLE = 0xF * (RANGE_FAIL // int(Flag.FAIL))


class Staged(NamedTuple):
    """An alarm event waiting for its turn; the fields before it are its place in the order."""

    order_us: int
    sequence: int
    at_us: int
    series: int
    cause: str
    rank: int
    event: AlarmEvent


class Judged(NamedTuple):
    """Flags of the readings of one call, in their order, and what else came of them."""

    primary: list[int]
    packed: list[int]
    late: list[bool]
    revised: FlagRevised | None
    staged: list[Staged]


class Row(NamedTuple):
    """What evidence needs of one row of features."""

    level: float
    slope: tuple[float, float, float]
    expected: tuple[float, float]


_NO_ROW = Row(math.nan, (math.nan, math.nan, math.nan), (math.nan, math.nan))


def _row(features: Features, position: int) -> Row:
    slope = features.slope
    return Row(
        float(features.level[position]),
        (float(slope.median[position]), float(slope.low[position]), float(slope.high[position])),
        (float(features.expected_low[position]), float(features.expected_high[position])),
    )


class SeriesWatch:
    """The state of one series.

    Parameters
    ----------
    index
        Position of the series in `EngineRules.series`.
    rules
        Its limits.
    faults
        Faults that show in this series, each with its parameters' values.
    baseline
        What is usual, None while learning.
    """

    def __init__(
        self,
        index: int,
        rules: SeriesRules,
        faults: Iterable[tuple[Fault, Mapping[str, float]]] = (),
        baseline: Baseline | None = None,
    ) -> None:
        self.index = index
        self.rules = rules
        gap_us = NEVER if rules.gap is None else rules.gap.fail_after_us
        self._flat = None if rules.flat_line is None else FlatLine(rules.flat_line, gap_us)
        self._spike = None if rules.spike is None else Spike(rules.spike, gap_us)
        tests = (
            None if rules.gap is None else Gap(rules.gap),
            None if rules.gross_range is None else GrossRange(rules.gross_range),
            None if rules.rate_of_change is None else RateOfChange(rules.rate_of_change, gap_us),
            self._flat,
        )
        self._tests = tuple(test for test in tests if test is not None)
        self._test_count = len(self._tests) + (self._spike is not None)
        self._limits = tuple(LimitWatch(alarm, rules.quantity, gap_us) for alarm in rules.limit_alarms)
        self._stuck = DelayedAlarm(0, STUCK_OFF_DELAY_US, gap_us)
        self._out_of_range = DelayedAlarm(PROBE_DELAY_US, PROBE_DELAY_US, gap_us)
        self._silence = None if rules.gap is None else Silence(rules.gap.fail_after_us)
        rate = rules.rate_alarm
        self._grid = MinuteGrid(baseline, None if rate is None else rate.window_us)
        self._rate = None if rate is None else DelayedAlarm(rate.on_delay_us, rate.off_delay_us, ROW_GAP_US)
        self._faults = tuple(
            (
                fault,
                setting,
                DelayedAlarm(round(setting["on_delay"]), round(setting["off_delay"]), ROW_GAP_US),
            )
            for fault, setting in faults
        )
        self._last_us = -NEVER
        self._last_value = math.nan
        self._last_plausible = math.nan
        self._last_packed = 0
        self._rows: Features | None = None
        self._last_row = _NO_ROW
        self._times_us: list[int] = []
        self._values: list[float] = []
        self.is_listening = True

    # -- what comes in -----------------------------------------------------------------------------

    def set_baseline(self, baseline: Baseline | None) -> None:
        """Judge minutes closed from now on by this baseline."""
        self._grid.baseline = baseline

    def listen_from(self, time_us: int) -> None:
        """Count silence from this instant on."""
        self.is_listening = True
        if self._silence is not None:
            self._silence.listen_from(time_us)

    def adopt(self, active: Mapping[str, int]) -> None:
        """Take over which alarms were active before a restart, and since when; the others are normal."""
        for cause, delays in self._delayed():
            if delays.is_active != (cause in active):
                delays.force(cause in active, active.get(cause, 0))
        if self._silence is not None:
            self._silence.force("probe_silent" in active)

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
            return Judged(flags, packed, late, None, [])
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
        return Judged(flags, packed, late, judged.revised, judged.staged)

    def expire(self, clock_us: int) -> list[Staged]:
        """Let delays and silence end by the clock."""
        staged: list[Staged] = []
        if not self.is_listening:
            return staged
        for cause, delays in self._by_reading():
            if delays.due_us != NEVER and (change := delays.expire(clock_us)) is not None:
                self._stage(staged, cause, [change])
        if self._silence is not None and (change := self._silence.expire(clock_us)) is not None:
            self._stage(staged, "probe_silent", [change])
        return staged

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
        count = len(times_us)
        packed = [0] * count
        for test in self._tests:
            test.judge(times_us, values, packed)
        revised = self._judge_spike(times_us, values, packed)
        tests = self._test_count
        passed = primary(0, tests)
        flags = [passed if not bits else primary(bits, tests) for bits in packed]
        staged: list[Staged] = []
        if self._silence is not None:
            changes = self._silence.judge(times_us, sequences, clocks_us, self.is_listening)
            if changes:
                self._see(times_us, values)
                self._stage(staged, "probe_silent", changes)
        self._judge_values(times_us, values, sequences, clocks_us, packed, staged)
        self._last_us, self._last_value, self._last_packed = times_us[-1], values[-1], packed[-1]
        self._forget_rows()
        return Judged(flags, packed, [False] * count, revised, staged)

    def _judge_spike(self, times_us: list[int], values: list[float], packed: list[int]) -> FlagRevised | None:
        if self._spike is None:
            return None
        verdict = self._spike.judge(times_us, values, packed)
        if not verdict:
            return None
        bits = self._last_packed | verdict
        return FlagRevised(self.index, self._last_us, primary(bits, self._test_count), bits)

    def _judge_values(
        self,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
        packed: list[int],
        staged: list[Staged],
    ) -> None:
        """Watch probe, limits and minutes; what the sensor cannot give counts for the probe only."""
        flagged = any(packed)
        if flagged or not (self._out_of_range.is_idle and self._stuck.is_idle):
            self._see(times_us, values)
            self._judge_probe(times_us, sequences, clocks_us, packed, staged)
        else:
            self._out_of_range.skip_to(times_us[-1], clocks_us[-1])
            self._stuck.skip_to(times_us[-1], clocks_us[-1])
        if flagged and any(bits & _RANGE_NIBBLE == RANGE_FAIL for bits in packed):
            kept = [i for i, bits in enumerate(packed) if bits & _RANGE_NIBBLE != RANGE_FAIL]
            if not kept:
                return
            times_us = [times_us[i] for i in kept]
            values = [values[i] for i in kept]
            sequences = [sequences[i] for i in kept]
            clocks_us = [clocks_us[i] for i in kept]
        self._grid.collect(times_us, values)
        self._judge_rows(times_us, sequences, clocks_us, staged)
        for limit in self._limits:
            changes = limit.judge(times_us, values, sequences, clocks_us, self.is_listening)
            if changes:
                self._see(times_us, values)
                self._stage(staged, limit.cause, changes)
        self._last_plausible = values[-1]

    def _judge_probe(
        self,
        times_us: list[int],
        sequences: list[int],
        clocks_us: list[int],
        packed: list[int],
        staged: list[Staged],
    ) -> None:
        listening = self.is_listening
        for cause, delays, nibble, on, off_too in (
            ("probe_out_of_range", self._out_of_range, _RANGE_NIBBLE, RANGE_FAIL, RANGE_FAIL),
            ("probe_stuck", self._stuck, _FLAT_NIBBLE, FLAT_FAIL, FLAT_SUSPECT),
        ):
            changes: list[Change] = []
            for position, bits in enumerate(packed):
                verdict = bits & nibble
                changes += delays.observe(
                    times_us[position],
                    sequences[position],
                    clocks_us[position],
                    verdict == on,
                    verdict not in (on, off_too),
                    listening,
                )
            self._stage(staged, cause, changes)

    def _judge_rows(
        self,
        times_us: list[int],
        sequences: list[int],
        clocks_us: list[int],
        staged: list[Staged],
    ) -> None:
        """Judge the minutes that these readings closed."""
        rows = self._grid.rows()
        self._rows = rows
        if rows is None or not (self._faults or self._rate is not None):
            return
        closing = np.searchsorted(np.array(times_us, np.int64), rows.times_us, side="left").tolist()
        ends_us = rows.times_us.tolist()
        where = [(sequences[i], clocks_us[i]) for i in closing]
        for fault, setting, delays in self._faults:
            symptom = fault.symptom(rows, setting)
            if delays.is_idle and not symptom.is_on.any():
                continue
            for change, position in _walk(
                delays, ends_us, where, symptom.is_on, symptom.is_off, symptom.is_known
            ):
                row = _row(rows, position)
                self._stage_one(staged, fault.code, change, row.level, row, symptom.reasons)
        rate, alarm = self._rate, self.rules.rate_alarm
        if rate is not None and alarm is not None and rows.rate is not None:
            size = np.abs(rows.rate.median)
            is_on = size > alarm.per_hour
            if not rate.is_idle or is_on.any():
                for change, position in _walk(
                    rate, ends_us, where, is_on, size < alarm.per_hour, np.isfinite(size)
                ):
                    row = _row(rows, position)
                    self._stage_one(staged, "changing_fast", change, row.level, row)

    # -- events and their evidence -----------------------------------------------------------------

    def _see(self, times_us: list[int], values: list[float]) -> None:
        """Keep the present readings at hand for evidence."""
        self._times_us, self._values = times_us, values

    def _forget_rows(self) -> None:
        if self._rows is not None:
            self._last_row = _row(self._rows, -1)
        self._rows = None
        self._times_us, self._values = [], []

    def _value_at(self, known_us: int, cause: str) -> float:
        """The value that was known then; for the water's alarms only what the sensor can give."""
        position = bisect_right(self._times_us, known_us) - 1
        if position >= 0:
            return self._values[position]
        return self._last_value if cause.startswith("probe_") else self._last_plausible

    def _row_at(self, known_us: int) -> Row:
        """The newest row that was closed by a reading at or before `known_us`."""
        if self._rows is not None:
            position = int(np.searchsorted(self._rows.times_us, known_us, side="right")) - 1
            if position >= 0:
                return _row(self._rows, position)
        return self._last_row

    def _stage(self, staged: list[Staged], cause: str, changes: Iterable[Change]) -> None:
        """Stage what readings showed, with what was known just before."""
        for change in changes:
            value = self._value_at(change.known_us, cause)
            row = _NO_ROW if cause.startswith("probe_") else self._row_at(change.known_us)
            self._stage_one(staged, cause, change, value, row)

    def _stage_one(
        self,
        staged: list[Staged],
        cause: str,
        change: Change,
        value: float,
        row: Row,
        reasons: tuple[str, ...] = (),
    ) -> None:
        rules = self.rules
        key = AlarmKey(rules.tank, rules.name, cause)
        event: AlarmEvent
        if change.is_raised:
            event = AlarmRaised(
                at_us=change.at_us,
                alarm=key,
                priority=self._priority(cause),
                first_evidence_us=change.since_us,
                concerns=(rules.name,),
                evidence=self._evidence(cause, change, value, row, reasons),
            )
        else:
            event = AlarmReturned(change.at_us, key, value)
        staged.append(
            Staged(change.order_us, change.sequence, change.at_us, self.index, cause, change.is_raised, event)
        )

    def _evidence(
        self, cause: str, change: Change, value: float, row: Row, reasons: tuple[str, ...]
    ) -> Evidence:
        limit = next((watch.alarm.setpoint for watch in self._limits if watch.cause == cause), None)
        low, high = self.rules.danger_line(is_high=False), self.rules.danger_line(is_high=True)
        projection = project(change.at_us, value, row.slope, low, high)
        return Evidence(
            value=value,
            limit=limit,
            expected_low=_finite(row.expected[0]),
            expected_high=_finite(row.expected[1]),
            rate_per_hour=_finite(row.slope[0]),
            since_us=change.since_us,
            danger=None if projection is None else projection.danger,
            danger_at_us=None if projection is None else projection.at_us,
            danger_earliest_us=None if projection is None else projection.earliest_us,
            danger_latest_us=None if projection is None else projection.latest_us,
            reasons=reasons,
        )

    def _priority(self, cause: str) -> Priority:
        for watch in self._limits:
            if watch.cause == cause:
                return watch.alarm.priority
        for fault, _, _ in self._faults:
            if fault.code == cause:
                return fault.priority
        if cause == "changing_fast" and self.rules.rate_alarm is not None:
            return self.rules.rate_alarm.priority
        return self.rules.probe_priority

    def _by_reading(self) -> Iterable[tuple[str, DelayedAlarm]]:
        """Alarms whose delays may end by the clock alone."""
        yield "probe_out_of_range", self._out_of_range
        yield "probe_stuck", self._stuck
        for watch in self._limits:
            yield watch.cause, watch.delays

    def _delayed(self) -> Iterable[tuple[str, DelayedAlarm]]:
        yield from self._by_reading()
        if self._rate is not None:
            yield "changing_fast", self._rate
        for fault, _, delays in self._faults:
            yield fault.code, delays


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _walk(
    delays: DelayedAlarm,
    ends_us: list[int],
    where: list[tuple[int, int]],
    is_on: np.typing.NDArray[np.bool_],
    is_off: np.typing.NDArray[np.bool_],
    is_known: np.typing.NDArray[np.bool_],
) -> list[tuple[Change, int]]:
    """Let a delayed alarm take the known rows in order; return changes and the rows that showed them."""
    changes: list[tuple[Change, int]] = []
    on, off = is_on.tolist(), is_off.tolist()
    for position in np.flatnonzero(is_known).tolist():
        sequence, clock_us = where[position]
        found = delays.observe(
            ends_us[position], sequence, clock_us, on[position], off[position], by_clock=False
        )
        changes += [(change, position) for change in found]
    return changes
