"""A loop that stood still has heard nothing meanwhile: the machine slept, or its clock was set."""

from __future__ import annotations

import logging

from collector.clock import Clock

_LOG = logging.getLogger(__name__)

# A loop that stood still so long (a sleeping machine, a clock that was set) has heard nothing meanwhile.
STALL_S = 30.0


class Standstill:
    """Looks at the clock at each round."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._round_us = clock.now_us()

    def notice(self, *, is_live: bool) -> bool:
        """Whether a live line was not listened to for long; what is off is logged."""
        now_us = self._clock.now_us()
        passed_s = self._clock.wall_seconds(now_us - self._round_us)
        self._round_us = now_us
        if not is_live or passed_s <= STALL_S:
            return False
        _LOG.warning("nothing was done for %.0f s (a sleeping machine or a clock that was set?)", passed_s)
        return True
