"""Does the machine know what time it is?"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator

from collector.checks.finding import Finding, Verdict
from collector.clock import NOTE
from collector.configuration import Configuration
from collector.errors import StoreError
from collector.store import StoreReader
from collector.timekeeping import DOUBT_US, is_of_wall, is_set
from collector.wording.times import duration_text

_PART = "clock"
_MEND = (
    "a time server on the network sets it: `timedatectl` says whether one is asked (NTP service) and answers "
    "(synchronized); a clock module with a battery keeps it over power cuts"
)


def check_clock(
    configuration: Configuration,
    *,
    wall: Callable[[], int] = lambda: time.time_ns() // 1000,
    knows: Callable[[], bool | None] = is_set,
) -> Iterator[Finding]:
    """Ask the system, and hold its clock against what was recorded."""
    behind_us = (_recorded_us(configuration) or 0) - wall()
    if behind_us > DOUBT_US:
        yield Finding(
            _PART,
            Verdict.WRONG,
            f"this machine's clock is {duration_text(behind_us)} behind what was recorded: time goes on from "
            "there, and readings are kept as of unknown time",
            _MEND,
        )
        return
    is_known = knows()
    if is_known is None:
        yield Finding(_PART, Verdict.WELL, "nothing speaks against this machine's clock")
    elif is_known:
        yield Finding(_PART, Verdict.WELL, "this machine's clock has been set")
    else:
        yield Finding(
            _PART,
            Verdict.WRONG,
            "this machine's clock has not been set since it started: readings are kept as of unknown time",
            _MEND,
        )


def _recorded_us(configuration: Configuration) -> int | None:
    if not configuration.store.path.is_file():
        return None
    try:
        with StoreReader(configuration.store.path) as reader:
            return reader.last_commit_us if is_of_wall(reader.note(NOTE)) else None
    except (StoreError, sqlite3.Error):
        return None
