"""Planned work in a sentence: when it is, and until when it keeps alarms quiet."""

from __future__ import annotations

from collector.wording.times import clock_text
from rules import PlannedWork


def work_text(work: PlannedWork, now_us: int, time_zone: str, where: str = "") -> str:
    """Return "Water change: goes on until 15:30."; `where`, such as " in reef", stands behind the work."""
    what = work.kind.replace("_", " ").capitalize() + where
    begin, end, settled = (
        clock_text(at_us, now_us, time_zone) for at_us in (work.from_us, work.to_us, work.settled_us)
    )
    if work.from_us > now_us:
        return f"{what}: from {begin} until {end}."
    if work.to_us > now_us:
        return f"{what}: goes on until {end}."
    return f"{what}: over since {end}; what it disturbs rings again from {settled}."


def quiet_text(work: PlannedWork, now_us: int, time_zone: str, live: str = "dangers do") -> str:
    """Say until when what is disturbed does not ring, and what does."""
    return f"What it disturbs does not ring until {clock_text(work.settled_us, now_us, time_zone)}; {live}."
