"""What people said of the incidents in a store, as the truth for a replay of that store."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import NamedTuple

from collector.recurrence import RecurringWork
from collector.reviews import annotations_of
from collector.store import StoreReader
from rules import MICROSECONDS, Annotation


class Reviewed(NamedTuple):
    """The annotations that verdicts make, and how many incidents nobody has said anything of."""

    annotations: tuple[Annotation, ...]
    unreviewed: int

    @property
    def lacks(self) -> str:
        """What is to be known of them, in a sentence; empty for nothing."""
        if not self.unreviewed:
            return ""
        count = "1 incident has" if self.unreviewed == 1 else f"{self.unreviewed} incidents have"
        return f"{count} no verdict yet, and what rings for such a one counts as a false alarm"


def reviewed(reader: StoreReader, from_us: int = 0, to_us: int = 2**62) -> Reviewed:
    """What was said of the incidents that alarmed in a range."""
    verdicts = reader.verdicts()
    told = [one.incident for one in reader.incidents() if from_us <= one.incident.alarmed_at_us < to_us]
    said = [(one, verdicts[one.number]) for one in told if one.number in verdicts]
    return Reviewed(annotations_of(said), len(told) - len(said))


def works_of_store(reader: StoreReader, tanks: tuple[str, ...]) -> tuple[RecurringWork, ...]:
    """The works that were known, each as one that comes once."""
    return tuple(
        RecurringWork(
            work.tank,
            work.kind,
            "UTC",
            datetime.fromtimestamp(work.from_us // MICROSECONDS, UTC).replace(tzinfo=None),
            work.to_us - work.from_us,
            "",
        )
        for tank in tanks
        for work in reader.works(tank, 0, 2**62)
    )
