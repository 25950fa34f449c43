"""An alarm that comes and goes: each time is an incident of its own, and not each of them rings at once."""

from __future__ import annotations

from collections.abc import Iterable

from collector.telling.thread import Thread
from rules import HOUR_US, Priority

# It rings so often within an hour; what comes then waits until the hour is over.
RINGS_AN_HOUR = 3


def first_step_us(thread: Thread, priority: Priority, threads: Iterable[Thread], now_us: int) -> int:
    """When an incident may ring: now, later where the alarm that opened it rang too often within the hour."""
    rung = sorted(
        one.rung_us
        for one in threads
        if one.first == thread.first
        and one.incident != thread.incident
        and one.priority.rank >= priority.rank
        and one.rung_us is not None
        and now_us - HOUR_US < one.rung_us <= now_us
        and one.told
    )
    return now_us if len(rung) < RINGS_AN_HOUR else rung[-RINGS_AN_HOUR] + HOUR_US
