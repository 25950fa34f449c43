"""What was missed in a stretch of time: series of which nothing came, and what is open behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.configuration import Configuration
from collector.store import StoreReader
from rules import TWO_STATE


class Missed(NamedTuple):
    """Titles of the series without a reading, and of the incidents that are open now."""

    series: Sequence[str]
    open_titles: Sequence[str]


def missed(
    reader: StoreReader, configuration: Configuration, ids: Sequence[int], from_us: int, to_us: int
) -> Missed:
    """Look for what a stretch of time lacks.

    A series is missed if it spoke in a stretch of the same length before: one that speaks once a day is not
    missed in an hour, and one that was silent already is told by its own alarm. Contacts and states speak
    when they change.
    """
    silent = [
        series.title or series.name.replace("_", " ")
        for series, number in zip(configuration.series, ids, strict=True)
        if series.quantity not in TWO_STATE
        and not reader.has_readings(number, from_us + 1, to_us)
        and reader.has_readings(number, 2 * from_us - to_us, from_us + 1)
    ]
    return Missed(silent, [record.title for record in reversed(reader.incidents(open_only=True))])
