"""The quality tests of one series together: one primary flag and the packed flags of each reading.

Readings go through the tests one by one: a slotted state machine in plain Python. Nearly every reading is
calm: between the bounds of gross range and climatology, and no gap before it; three comparisons settle
these tests then. Of a surveyed block the tests take at once each stretch that all of it passes, and only
the tests that cannot see its readings one by one; flags do not depend on how a stream is cut.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from rules.alarm import NEVER
from rules.flags import Flag
from rules.quality.attenuated_signal import AttenuatedDeviation, AttenuatedRange, attenuated_signal
from rules.quality.climatology import BandSource, Climatology
from rules.quality.flat_line import FlatLine
from rules.quality.gap import FAIL as GAP_FAIL
from rules.quality.gross_range import FAIL as RANGE_FAIL
from rules.quality.gross_range import GrossRange
from rules.quality.packed import MISSING_THROUGHOUT, SHIFT, STEP_TESTS, TESTS, primary
from rules.quality.rate_of_change import RateOfChange
from rules.quality.spike import Spike
from rules.setup import SeriesRules
from rules.survey import Stretch, Survey

# Beyond every unit; sums of squares of what lies within are finite.
_BEYOND = 1e100
_new = tuple.__new__


class Verdicts(NamedTuple):
    """Flags of readings in their order, and the newest earlier reading's if they have changed.

    `revised` is the instant, primary flag and packed flags of that reading; None where nothing changed.
    """

    primary: list[int]
    packed: list[int]
    revised: tuple[int, int, int] | None


class QualitySuite:
    """The tests that a series has, run over its readings in order.

    A missing reading (NaN) is MISSING; it leaves its neighbours without a neighbour (spike, rate of
    change), and is otherwise as if it were not there. An infinite one FAILS gross range, is NOT_EVALUATED by
    the others, and leaves its neighbours alone likewise.

    Parameters
    ----------
    rules
        Which tests the series has, and their limits. Those of two series are judged elsewhere, at the
        steps of a tank (`rules.quality.multivariate`, `rules.quality.neighbor`).
    """

    __slots__ = (
        "_attenuated_signal",
        "_climatology",
        "_count",
        "_flat_line",
        "_gap_us",
        "_gross_range",
        "_high",
        "_infinite",
        "_last_packed",
        "_last_us",
        "_low",
        "_passed",
        "_rate_of_change",
        "_spike",
        "_until_us",
        "_usual",
    )

    def __init__(self, rules: SeriesRules) -> None:
        gap_us = NEVER if rules.gap is None else rules.gap.fail_after_us
        self._gap_us = gap_us
        ranges = rules.gross_range
        plausible = (-math.inf, math.inf) if ranges is None else (ranges.sensor_low, ranges.sensor_high)
        self._gross_range = None if ranges is None else GrossRange(ranges)
        self._climatology = None if rules.climatology is None else Climatology(rules.climatology)
        rates, attenuation = rules.rate_of_change, rules.attenuated_signal
        self._rate_of_change = None if rates is None else RateOfChange(rates, gap_us, plausible)
        self._spike = None if rules.spike is None else Spike(rules.spike, gap_us)
        self._flat_line = None if rules.flat_line is None else FlatLine(rules.flat_line, gap_us)
        self._attenuated_signal = (
            None if attenuation is None else attenuated_signal(attenuation, gap_us, plausible)
        )
        own = [name for name in TESTS if name not in STEP_TESTS and getattr(rules, name) is not None]
        self._count = len(own)
        self._passed = primary(0, self._count)
        self._infinite = RANGE_FAIL if ranges is not None else 0
        for name in own:
            if name != "gross_range":
                self._infinite |= int(Flag.NOT_EVALUATED) << SHIFT[name]
        self._last_us: int | None = None
        self._last_packed = 0
        self._set_calm(0)

    def set_band_source(self, source: BandSource | None) -> None:
        """Let the climatology test judge by this band from the next reading on; None while it is learned."""
        if self._climatology is not None:
            self._climatology.set_band_source(source)
            self._until_us = self._climatology.until_us

    def add_to_last(self, packed: int) -> None:
        """Keep verdicts that others have given the last reading since, for when it is revised here."""
        self._last_packed |= packed

    def judge(self, times_us: list[int], values: list[float], survey: Survey | None = None) -> Verdicts:
        """Judge readings; times increase strictly over all calls. A survey of them makes it quicker."""
        if survey is None:
            return self._judge(
                times_us,
                values,
                self._rate_of_change,
                self._spike,
                self._flat_line,
                self._attenuated_signal,
            )
        flags, packed, revised = self.judge(times_us[:1], values[:1])
        for stretch in survey.stretches:
            part = self._judge_stretch(times_us, values, stretch)
            if part.revised is not None:
                _, flags[-1], packed[-1] = part.revised
            flags += part.primary
            packed += part.packed
        return Verdicts(flags, packed, revised)

    def _judge_stretch(self, times_us: list[int], values: list[float], stretch: Stretch) -> Verdicts:
        """Judge a stretch of readings by the tests that it does not pass as a whole."""
        start, end = stretch.start, stretch.end
        rate_of_change, spike = self._rate_of_change, self._spike
        flat_line, attenuation = self._flat_line, self._attenuated_signal
        is_finite = stretch.low > -_BEYOND and stretch.high < _BEYOND
        if is_finite and stretch.longest_us <= self._gap_us:
            if rate_of_change is not None and rate_of_change.passes(times_us, values, stretch):
                rate_of_change = None
            if spike is not None and spike.passes(times_us, values, stretch):
                spike = None
            if flat_line is not None and flat_line.passes(times_us, values, stretch):
                flat_line = None
            if attenuation is not None and attenuation.passes(times_us, values, stretch):
                attenuation = None
            is_settled = rate_of_change is None and spike is None and flat_line is None
            is_settled = is_settled and attenuation is None
            if is_settled and self._is_calm(times_us[start], times_us[end - 1], stretch.low, stretch.high):
                self._last_us, self._last_packed = times_us[end - 1], self._usual
                flag = primary(self._usual, self._count)
                return Verdicts([flag] * (end - start), [self._usual] * (end - start), None)
        return self._judge(
            times_us[start:end], values[start:end], rate_of_change, spike, flat_line, attenuation
        )

    def _is_calm(self, from_us: int, to_us: int, low: float, high: float) -> bool:
        """Whether all values between two readings, both among them, lie within the bounds."""
        if from_us >= self._until_us and self._climatology is not None:
            self._climatology.look_up(from_us)
            self._set_calm(self._climatology.until_us)
        return to_us < self._until_us and self._low <= low and high <= self._high

    def _judge(
        self,
        times_us: list[int],
        values: list[float],
        rate_of_change: RateOfChange | None,
        spike: Spike | None,
        flat_line: FlatLine | None,
        attenuation: AttenuatedRange | AttenuatedDeviation | None,
    ) -> Verdicts:
        """Judge readings one by one, by the bounds and these tests."""
        low, high, until_us, usual = self._low, self._high, self._until_us, self._usual
        gap_us, last_us = self._gap_us, self._last_us
        count, passed = self._count, self._passed
        packed: list[int] = []
        flags: list[int] = []
        revised = 0
        # Position of the reading, and of the last that was there, -1 while it was one of an earlier call.
        position = previous = -1
        for value in values:
            position += 1
            time_us = times_us[position]
            if low <= value <= high and time_us < until_us:
                bits = usual
            elif -_BEYOND < value < _BEYOND:
                bits = self._judge_by_bounds(time_us, value)
                low, high, until_us, usual = self._low, self._high, self._until_us, self._usual
            else:
                bits = MISSING_THROUGHOUT if value != value else self._infinite
                packed.append(bits)
                flags.append(primary(bits, count))
                if verdict := self._miss():
                    if previous >= 0:
                        packed[previous] |= verdict
                        flags[previous] = primary(packed[previous], count)
                    else:
                        revised |= verdict
                continue
            elapsed_us = 0 if last_us is None else time_us - last_us
            last_us = time_us
            if elapsed_us > gap_us:
                bits |= GAP_FAIL
            if rate_of_change is not None:
                bits |= rate_of_change.judge(time_us, value, elapsed_us)
            if spike is not None:
                bits |= spike.judge(time_us, value, elapsed_us)
                if spike.revised:
                    if previous >= 0:
                        packed[previous] |= spike.revised
                        flags[previous] = primary(packed[previous], count)
                    else:
                        revised |= spike.revised
            if flat_line is not None:
                bits |= flat_line.judge(time_us, value, elapsed_us)
            if attenuation is not None:
                bits |= attenuation.judge(time_us, value, elapsed_us)
            packed.append(bits)
            flags.append(primary(bits, count) if bits else passed)
            previous = position
        changed = None
        if revised and self._last_us is not None:
            bits = self._last_packed | revised
            changed = (self._last_us, primary(bits, count), bits)
        self._last_us = last_us
        if previous >= 0:
            self._last_packed = packed[previous]
        # Verdicts(...) by a shorter way: a live reading spends a tenth of its time here.
        return _new(Verdicts, (flags, packed, changed))

    def _miss(self) -> int:
        """Let tests know of a missing reading; return what that says of the one before it."""
        if self._rate_of_change is not None:
            self._rate_of_change.miss()
        if self._spike is None:
            return 0
        self._spike.miss()
        return self._spike.revised

    def _judge_by_bounds(self, time_us: int, value: float) -> int:
        bits = 0
        if self._climatology is not None:
            bits = self._climatology.judge(time_us, value, 0)
            if self._until_us != self._climatology.until_us:
                self._set_calm(self._climatology.until_us)
        if self._gross_range is not None:
            bits |= self._gross_range.judge(time_us, value, 0)
        return bits

    def _set_calm(self, until_us: int) -> None:
        """Take the bounds between which a reading is calm until an instant."""
        low, high, self._usual, self._until_us = -_BEYOND, _BEYOND, 0, NEVER
        if self._gross_range is not None:
            low, high = max(low, self._gross_range.low), min(high, self._gross_range.high)
        if self._climatology is not None:
            low, high = max(low, self._climatology.low), min(high, self._climatology.high)
            self._usual, self._until_us = self._climatology.usual, until_us
        self._low, self._high = low, high
