"""Does this machine know what time it is, and what does the service go by while it does not?

A Raspberry Pi has no clock that runs while it is off: it boots with the time that was saved last, and learns
the true one from the network, after the service has begun. Readings and rings do not wait for that.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from collector.clock import Clock, SteadyWall
from rules import MICROSECONDS

_LOG = logging.getLogger(__name__)

# systemd-timesyncd makes this folder as it starts, and a file in it once it has heard from the network
# (systemd-timesyncd.service(8)).
TIMESYNC = Path("/run/systemd/timesync")
# What the kernel says of clock chips (Linux, Documentation/ABI/testing/rtc-cdev and sysfs-class-rtc).
CHIPS = Path("/sys/class/rtc")
# Chip and clock may be so far apart and still be one: the chip shows whole seconds and drifts some a day.
_CHIP_AGREES_S = 120.0
# The wall may jump by less without anybody doubting it.
DOUBT_US = 2 * MICROSECONDS
_LOOK_S = 5.0
# A lead shrinks by six seconds meanwhile.
_STALE_S = 60.0
# The end of a note for commands: so far before the wall, whatever that shows.
_LEADS = " 0 1.0"
# 2026-01-01: before it there was no program to run.
_EARLIEST_US = 1_767_225_600 * MICROSECONDS


class Trust(NamedTuple):
    """How far before the machine's own clock the service's is, and whether nobody knows what time it is."""

    lead_us: int = 0
    is_doubted: bool = False


def is_set(
    timesync: Path = TIMESYNC, chips: Path = CHIPS, now: Callable[[], float] = time.time
) -> bool | None:
    """Whether the machine's clock has been set to the true time; None if nothing here tells."""
    if (timesync / "synchronized").exists():
        return True
    if not timesync.is_dir():
        return None
    # Without a network a chip with a battery is all there is, and enough.
    for chip in chips.glob("rtc*/since_epoch"):
        try:
            if abs(int(chip.read_text()) - now()) <= _CHIP_AGREES_S:
                return True
        except (OSError, ValueError):
            continue
    return False


def is_of_wall(note: str | None) -> bool:
    """Whether a service with this note goes by the machine's clock, and not by one of a demo."""
    return not note or note.endswith(_LEADS)


class Timekeeping:
    """The clock of the service, and whether it is to be doubted.

    Parameters
    ----------
    clock
        The clock that the service was given; one that is not the wall's is never doubted.
    known_us
        The last instant that was recorded, None if there is none.
    knows
        As `is_set`.
    """

    def __init__(
        self,
        clock: Clock,
        known_us: int | None,
        *,
        knows: Callable[[], bool | None] = is_set,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._knows, self._monotonic = knows, monotonic
        self._steady: SteadyWall | None = None
        self.clock = clock
        if not clock.note() and clock.end_us is None:
            self._steady = SteadyWall(max(known_us or 0, _EARLIEST_US), clock.wall, monotonic)
            self.clock = Clock(wall=self._steady)
        self._begun_s = monotonic()
        self._look_at_s, self._stale_at_s = self._begun_s + _LOOK_S, self._begun_s + _STALE_S
        self._is_unset = self._steady is not None and knows() is False
        self._was_doubted = False
        self._tell()

    @property
    def lead_us(self) -> int:
        """How far before the machine's own clock the service's is."""
        return 0 if self._steady is None else self._steady.lead_us

    def trust(self) -> Trust:
        """For who gives times to readings."""
        return Trust(self.lead_us, self.is_doubted)

    @property
    def is_doubted(self) -> bool:
        """Whether nobody knows if this is the true time."""
        return self._is_unset or self.lead_us > DOUBT_US

    def turn(self) -> bool:
        """Look at the machine now and then; whether `note` is another one."""
        now_s = self._monotonic()
        if now_s < self._look_at_s:
            return self._tell()
        self._look_at_s = now_s + _LOOK_S
        if self._is_unset:
            self._is_unset = self._knows() is False
        is_stale = self.lead_us > DOUBT_US and now_s >= self._stale_at_s
        if self._tell() or is_stale:
            self._stale_at_s = now_s + _STALE_S
            return True
        return False

    def begun_us(self) -> int | None:
        """When the service began, by what the clock says now; None while nobody knows."""
        if self.is_doubted:
            return None
        return self.clock.now_us() - round((self._monotonic() - self._begun_s) * MICROSECONDS)

    def note(self) -> str:
        """For commands in other processes: what `Clock.of_note` takes."""
        if self._steady is None:
            return self.clock.note()
        lead_us = self.lead_us
        return "" if lead_us <= DOUBT_US else f"{lead_us}{_LEADS}"

    def _tell(self) -> bool:
        is_doubted = self.is_doubted
        if is_doubted == self._was_doubted:
            return False
        self._was_doubted = is_doubted
        if not is_doubted:
            _LOG.warning("the clock of this machine is right again, or has caught up: %s", self._shown())
        elif self.lead_us > DOUBT_US:
            _LOG.error(
                "the clock of this machine is %d s behind what was recorded: it was set back, or has not "
                "been set since the machine started. Time goes on from there (%s), readings are kept as of "
                "unknown time, and alarms ring all the same. A time server on the network sets it: see "
                "`timedatectl`",
                self.lead_us // MICROSECONDS,
                self._shown(),
            )
        else:
            _LOG.error(
                "the clock of this machine has not been set since it started (%s): readings are kept as of "
                "unknown time, and alarms ring all the same. A time server on the network sets it: see "
                "`timedatectl`",
                self._shown(),
            )
        return True

    def _shown(self) -> str:
        return f"{datetime.fromtimestamp(self.clock.now_us() / MICROSECONDS, UTC):%Y-%m-%d %H:%M:%S} UTC"
