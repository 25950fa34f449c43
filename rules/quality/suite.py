"""The quality tests of one series together: one primary flag and the packed flags of each reading."""

from __future__ import annotations

from typing import NamedTuple

from rules.alarm import NEVER
from rules.quality.flat_line import FlatLine
from rules.quality.gap import Gap
from rules.quality.gross_range import GrossRange
from rules.quality.packed import primary
from rules.quality.rate_of_change import RateOfChange
from rules.quality.spike import Spike
from rules.setup import SeriesRules


class Verdicts(NamedTuple):
    """Flags of readings in their order, and the newest earlier reading's if they have changed.

    `revised` is the instant, primary flag and packed flags of that reading; None where nothing changed.
    """

    primary: list[int]
    packed: list[int]
    revised: tuple[int, int, int] | None


class QualitySuite:
    """The tests that a series has, run over its readings in order."""

    def __init__(self, rules: SeriesRules) -> None:
        gap_us = NEVER if rules.gap is None else rules.gap.fail_after_us
        tests = (
            None if rules.gap is None else Gap(rules.gap),
            None if rules.gross_range is None else GrossRange(rules.gross_range),
            None if rules.rate_of_change is None else RateOfChange(rules.rate_of_change, gap_us),
            None if rules.flat_line is None else FlatLine(rules.flat_line, gap_us),
        )
        self._tests = tuple(test for test in tests if test is not None)
        self._spike = None if rules.spike is None else Spike(rules.spike, gap_us)
        self._count = len(self._tests) + (self._spike is not None)
        self._last_us = 0
        self._last_packed = 0

    def judge(self, times_us: list[int], values: list[float]) -> Verdicts:
        """Judge readings; times increase strictly over all calls, values are numbers."""
        packed = [0] * len(times_us)
        for test in self._tests:
            test.judge(times_us, values, packed)
        revised = None
        if self._spike is not None and (verdict := self._spike.judge(times_us, values, packed)):
            bits = self._last_packed | verdict
            revised = (self._last_us, primary(bits, self._count), bits)
        self._last_us, self._last_packed = times_us[-1], packed[-1]
        passed = primary(0, self._count)
        return Verdicts(
            [passed if not bits else primary(bits, self._count) for bits in packed], packed, revised
        )
