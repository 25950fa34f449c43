"""What people note of the care of probes: like every request, each is done once, and kept in the store."""

from __future__ import annotations

from dataclasses import dataclass

from rules import HOUR_US

LONGEST_NOTE = 200
# A clock that is a little behind shall not turn somebody away.
_AHEAD_US = HOUR_US


@dataclass(frozen=True, slots=True)
class RecordCalibration:
    """A probe was calibrated at `done_us`, and is due again at `due_us`, if ever."""

    tank: str
    series: str
    done_us: int
    due_us: int | None = None
    note: str = ""

    def __str__(self) -> str:
        return f"note a calibration of {self.series} in {self.tank}"

    def what_is_wrong(self, now_us: int) -> str | None:
        """Say why it cannot be noted; None if it can."""
        if self.done_us > now_us + _AHEAD_US:
            return "a calibration is noted when it has been done"
        if self.due_us is not None and self.due_us <= self.done_us:
            return "the next one is due after this one"
        if len(self.note) > LONGEST_NOTE:
            return f"a note has at most {LONGEST_NOTE} characters"
        return None
