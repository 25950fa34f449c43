"""Readings of the store into one file, a day at a time, while the service may run.

What was not measured, and what is infinite, has no place in a file and is left out. Flags and alarms are
not exported: a backup holds everything.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from collector.errors import BrinebellError, ConfigError
from collector.recordings import Named, Recording, join, spelled_unit, writer
from collector.store import StoredSeries, StoreReader
from rules import HOUR_US

_DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Asked:
    """Which readings: of series by `name` or `tank/name`, all if none is named, and of which stretch."""

    series: Sequence[str] = ()
    from_us: int | None = None
    to_us: int | None = None


def export(
    reader: StoreReader, target: Path, asked: Asked, tell: Callable[[float], object] = lambda _: None
) -> int:
    """Write readings into a file that is not there yet; return how many.

    A file that was begun and not ended has the ending `.part`, and is begun anew. `tell` is called with the
    share that is done.

    Raises
    ------
    BrinebellError
        If the file is there or cannot be written, or there is nothing to write.
    """
    if target.exists():
        raise BrinebellError(f"{target} exists, and nothing is overwritten: give another name")
    chosen = _chosen(reader.series_list(), asked.series)
    extent = reader.extent_us
    if extent is None:
        raise BrinebellError("the store holds no readings yet")
    from_us = max(extent[0], asked.from_us or 0)
    to_us = min(extent[1] + 1, extent[1] + 1 if asked.to_us is None else asked.to_us)
    names = [Named(one.tank, one.name, spelled_unit(one.quantity)) for one in chosen]
    part, count = target.with_name(f"{target.name}.part"), 0
    try:
        with closing(writer(part, _ending(target), names)) as out:
            for begin_us in range(from_us, to_us, _DAY_US):
                for piece in _day(reader, chosen, begin_us, min(begin_us + _DAY_US, to_us)):
                    out.write(piece)
                    count += len(piece)
                tell((begin_us - from_us) / (to_us - from_us))
        if not count:
            raise BrinebellError("the store holds no readings of these series in that time")
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as error:
        raise BrinebellError(f"{target} cannot be written: {error.strerror}") from error
    finally:
        part.unlink(missing_ok=True)
    return count


def _ending(target: Path) -> str:
    last = target.suffix.lower()
    return target.with_suffix("").suffix.lower() + last if last == ".gz" else last


def _chosen(known: Sequence[StoredSeries], names: Sequence[str]) -> list[StoredSeries]:
    if not names:
        return list(known)
    chosen = []
    for name in names:
        found = [one for one in known if name in (one.name, f"{one.tank}/{one.name}")]
        if not found:
            there = ", ".join(f"{one.tank}/{one.name}" for one in known)
            raise ConfigError(f"the store has no series {name!r}: it has {there}")
        chosen += found
    return chosen


def _day(
    reader: StoreReader, chosen: Sequence[StoredSeries], from_us: int, to_us: int
) -> Iterator[Recording]:
    parts = []
    for index, one in enumerate(chosen):
        readings = reader.readings(one.id, from_us, to_us)
        keep = np.isfinite(readings.values)
        number = int(keep.sum())
        parts.append(
            Recording(readings.times_us[keep], readings.values[keep], np.full(number, index, np.int64))
        )
    whole = join(parts)
    if len(whole):
        yield whole
