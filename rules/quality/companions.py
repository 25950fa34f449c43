"""The tests that need two series, judged at the steps of a tank: which readings get a flag afterwards?

A reading waits in its cell until the step that sees the cell first; a verdict other than PASS is then
told by a revision, which adds its bits to those that the reading has. What planned work disturbs is
not judged.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence

from rules.events import FlagRevised
from rules.flags import Flag
from rules.planned_work import Span
from rules.quality.disturbed import is_disturbed
from rules.quality.multivariate import multivariate
from rules.quality.neighbor import neighbor
from rules.quality.packed import SHIFT, STEP_TESTS, TESTS, primary
from rules.setup import CompanionLimits, SeriesRules
from rules.trace import STEP_US, Trace

_Test = Callable[[Sequence[float], Sequence[float], CompanionLimits], Flag]
_TESTS: Mapping[str, _Test] = {"multivariate": multivariate, "neighbor": neighbor}


class Companions:
    """The tests of one series beside others of its tank.

    Parameters
    ----------
    index, rules
        The series.
    trace
        What it leaves.
    others
        Series name -> trace, of the whole tank.
    """

    __slots__ = ("_count", "_index", "_limits", "_trace", "_waiting")

    def __init__(self, index: int, rules: SeriesRules, trace: Trace, others: Mapping[str, Trace]) -> None:
        self._index = index
        self._trace = trace
        found = {name: getattr(rules, name) for name in STEP_TESTS}
        self._limits = [
            (SHIFT[name], _TESTS[name], limits, others[limits.companion])
            for name, limits in found.items()
            if limits is not None and limits.companion in others
        ]
        self._count = sum(getattr(rules, name) is not None for name in TESTS)
        # First step that sees it, cell, time and packed flags of readings, in order.
        self._waiting: deque[tuple[int, int, int, int]] = deque()

    @staticmethod
    def are_wanted(rules: SeriesRules) -> bool:
        """Whether a series has such tests."""
        return any(getattr(rules, name) is not None for name in STEP_TESTS)

    def add(self, times_us: list[int], packed: list[int], clocks_us: list[int]) -> None:
        """Keep readings in order, each with the engine's clock at its arrival, until their step."""
        for time_us, bits, clock_us in zip(times_us, packed, clocks_us, strict=True):
            cell = time_us // STEP_US
            self._waiting.append((max(cell, clock_us // STEP_US), cell, time_us, bits))

    def revise(self, time_us: int, packed: int) -> None:
        """Take note that the newest reading's flags have changed meanwhile."""
        if self._waiting and self._waiting[-1][2] == time_us:
            self._waiting[-1] = (*self._waiting[-1][:3], packed)

    def judge(self, step: int, disturbed: Sequence[Span]) -> list[FlagRevised]:
        """Judge the cell of a step; return the readings whose flags change."""
        seen: list[tuple[int, int, int, int]] = []
        while self._waiting and self._waiting[0][0] <= step:
            seen.append(self._waiting.popleft())
        own = self._trace.medians
        if not seen or not own or is_disturbed(step * STEP_US, disturbed):
            return []
        verdicts = 0
        for shift, test, limits, other in self._limits:
            if other.step == step and self._trace.step == step:
                flag = test(own, other.medians, limits)
                verdicts |= 0 if flag is Flag.PASS else int(flag) << shift
        if not verdicts:
            return []
        return [
            FlagRevised(self._index, time_us, primary(bits | verdicts, self._count), bits | verdicts)
            for first_step, cell, time_us, bits in seen
            if first_step == cell == step
        ]
