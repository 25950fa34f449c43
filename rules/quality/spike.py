"""Spike test: does one reading stand apart from both its neighbours?

A reading can be judged only when the next one is there, so the newest reading of a series is always
pending; its verdict comes one reading late.
"""

from __future__ import annotations

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import SpikeLimits

_SUSPECT = int(Flag.SUSPECT) << SHIFT["spike"]
_FAIL = int(Flag.FAIL) << SHIFT["spike"]
_NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["spike"]
_NEVER = float("inf")


class Spike:
    """QARTOD test 6, average method: distance of x[n-1] from the mean of x[n-2] and x[n].

    More than `suspect` is SUSPECT, more than `fail` is FAIL. A reading beside a gap longer than
    `gap_us` is NOT_EVALUATED, for it has only one neighbour.
    """

    __slots__ = ("_before", "_fail", "_gap_us", "_has_left", "_last", "_last_us", "_suspect")

    def __init__(self, limits: SpikeLimits, gap_us: int) -> None:
        self._suspect = _NEVER if limits.suspect is None else limits.suspect
        self._fail = _NEVER if limits.fail is None else limits.fail
        self._gap_us = gap_us
        self._last_us: int | None = None
        self._last = self._before = 0.0
        self._has_left = False

    def judge(self, times_us: list[int], values: list[float], packed: list[int]) -> int:
        """Add verdicts to `packed`; return that of the last reading of the call before (0: passed or none).

        The newest reading stays pending: it carries no bits of this test until the next call.
        """
        least = min(self._suspect, self._fail)
        fail, gap_us = self._fail, self._gap_us
        last_us, last, before, has_left = self._last_us, self._last, self._before, self._has_left
        revised = 0
        position = 0
        if last_us is None:
            packed[0] |= _NOT_EVALUATED
            last_us, last, position = times_us[0], values[0], 1
        for position in range(position, len(times_us)):  # noqa: B020 - starts behind the very first reading
            time_us, value = times_us[position], values[position]
            if time_us - last_us > gap_us:
                if has_left:
                    if position:
                        packed[position - 1] |= _NOT_EVALUATED
                    else:
                        revised = _NOT_EVALUATED
                packed[position] |= _NOT_EVALUATED
                has_left = False
            else:
                if has_left:
                    distance = abs(last - (before + value) * 0.5)
                    if distance > least:
                        verdict = _FAIL if distance > fail else _SUSPECT
                        if position:
                            packed[position - 1] |= verdict
                        else:
                            revised = verdict
                has_left = True
            before, last, last_us = last, value, time_us
        self._last_us, self._last, self._before, self._has_left = last_us, last, before, has_left
        return revised
