"""What the flags of its readings say of a probe: does it give what it cannot give?

Nearly always all readings pass and nothing is active; then nothing is done but to keep their last time.
"""

from __future__ import annotations

from rules.alarm import NEVER, Change, DelayedAlarm
from rules.flags import Flag
from rules.quality.flat_line import FAIL as FLAT_FAIL
from rules.quality.gross_range import FAIL as RANGE_FAIL
from rules.trace import MINUTE_US

# A sensor that gives impossible values for two minutes is gone; a single such value is a bad contact
# or a lost bit on the wire. Longer would leave the tank unwatched, shorter would ring for a glitch.
PROBE_DELAY_US = 2 * MINUTE_US
_FLAT_NIBBLE = 0xF * (FLAT_FAIL // int(Flag.FAIL))
_RANGE_NIBBLE = 0xF * (RANGE_FAIL // int(Flag.FAIL))


class ProbeWatch:
    """The alarm of a series whose probe gives impossible values.

    Parameters
    ----------
    gap_us
        Longest time between two readings over which a condition is taken to hold.

    Attributes
    ----------
    delays
        The delayed alarm of each cause.
    is_idle
        Whether nothing is active and nothing is due.
    """

    __slots__ = ("_clock_us", "_last_us", "delays", "is_idle")

    def __init__(self, gap_us: int) -> None:
        self.delays = {
            "probe_out_of_range": DelayedAlarm(PROBE_DELAY_US, PROBE_DELAY_US, gap_us),
        }
        self.is_idle = True
        self._last_us = self._clock_us = -NEVER

    def refresh(self) -> None:
        """Look again whether anything is active or due: a state was taken over."""
        self.is_idle = all(delays.is_idle for delays in self.delays.values())

    def judge(
        self,
        times_us: list[int],
        packed: list[int],
        sequences: list[int],
        clocks_us: list[int],
        by_clock: bool,
    ) -> list[tuple[str, list[Change]]]:
        """Take the packed flags of readings in order; return what they raised or returned, by cause."""
        if self.is_idle and (not any(packed) or plausible(packed) is None):
            self._last_us, self._clock_us = times_us[-1], clocks_us[-1]
            return []
        found = []
        seen = set(packed)
        for cause, nibble, on in (("probe_out_of_range", _RANGE_NIBBLE, RANGE_FAIL),):
            delays = self.delays[cause]
            if delays.is_idle and all(bits & nibble != on for bits in seen):
                delays.skip_to(times_us[-1], clocks_us[-1])
                continue
            if self.is_idle:
                delays.skip_to(self._last_us, self._clock_us)
            changes: list[Change] = []
            for position, bits in enumerate(packed):
                verdict = bits & nibble
                changes += delays.observe(
                    times_us[position],
                    sequences[position],
                    clocks_us[position],
                    verdict == on,
                    verdict != on,
                    by_clock,
                )
            if changes:
                found.append((cause, changes))
        self.refresh()
        self._last_us, self._clock_us = times_us[-1], clocks_us[-1]
        return found


def plausible(packed: list[int]) -> list[int] | None:
    """Positions of readings that the sensor can give; None for all of them."""
    if all(bits & _RANGE_NIBBLE != RANGE_FAIL for bits in set(packed)):
        return None
    return [position for position, bits in enumerate(packed) if bits & _RANGE_NIBBLE != RANGE_FAIL]


def flat(packed: list[int]) -> list[bool] | None:
    """Which readings fail the flat line test; None for none of them."""
    if all(bits & _FLAT_NIBBLE != FLAT_FAIL for bits in set(packed)):
        return None
    return [bits & _FLAT_NIBBLE == FLAT_FAIL for bits in packed]
