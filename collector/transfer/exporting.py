"""Readings of the store into one file, a day (of UTC) at a time, while the service may run.

What the store has let go is read from the record behind it (`StoreReader(path, older)`), if there is one.

What was not measured, and what is infinite, has no place in a file and is left out. Flags and alarms are
not exported: a backup holds everything.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from collector.errors import BrinebellError, ConfigError, DatabaseError
from collector.recordings import Named, Recording, join, pieces_of, spelled_unit
from collector.store import StoredSeries, StoreReader
from collector.transfer.unfinished import Begun, Day, remove, unfinished
from rules import HOUR_US

_DAY_US = 24 * HOUR_US
_NOTHING = "the store holds no readings of these series in that time"


@dataclass(frozen=True, slots=True)
class Asked:
    """Which readings: of series by `name` or `tank/name`, all if none is named, and of which stretch."""

    series: Sequence[str] = ()
    from_us: int | None = None
    to_us: int | None = None


@dataclass(frozen=True, slots=True)
class Exported:
    """What is in a finished file.

    Parameters
    ----------
    count
        How many readings.
    before
        How many of them an earlier run had written.
    cut_off
        How many days of an earlier run were not as it had left them, and were written anew.
    to_us
        Where the stretch ends; without an end that was asked for, where the record did when it was begun.
    lacks
        For each day written now of which readings are missing, a sentence why.
    """

    count: int
    before: int
    cut_off: int
    to_us: int
    lacks: tuple[str, ...] = ()


def export(
    reader: StoreReader, target: Path, asked: Asked, tell: Callable[[float], object] = lambda _: None
) -> Exported:
    """Write readings into a file that is not there yet.

    It appears when it is finished. Until then it grows by whole days as `NAME.part`, and whoever asks for
    the same again goes on behind the days that are there. `tell` is called with the share that is done.

    Raises
    ------
    BrinebellError
        If the file is there or cannot be written, or there is nothing to write.
    """
    if target.exists():
        raise BrinebellError(f"{target} exists, and nothing is overwritten: give another name")
    chosen = _chosen(reader.series_list(), asked.series)
    pieces = pieces_of(target, [Named(one.tank, one.name, spelled_unit(one.quantity)) for one in chosen])
    begun = _begun(reader, chosen, asked)
    lacks: list[str] = []
    try:
        with unfinished(target, begun, pieces.head) as file:
            from_us, to_us = file.begun.from_us, file.begun.to_us
            for day in file.verify(lambda day: _rows(reader, chosen, day)):
                tell((day.to_us - from_us) / (to_us - from_us))
            before = sum(day.written for day in file.days)
            at_us = file.days[-1].to_us if file.days else from_us
            while at_us < to_us:
                behind_us = min(at_us - at_us % _DAY_US + _DAY_US, to_us)
                readings, rows, lack = _day(reader, chosen, at_us, behind_us)
                lacks += [lack] if lack else []
                file.add(at_us, behind_us, rows, len(readings), pieces.piece(readings))
                tell((behind_us - from_us) / (to_us - from_us))
                at_us = behind_us
            count = sum(day.written for day in file.days)
            if count:
                made = pieces.made_of(file.path)
                with made.open("rb") as finished:
                    os.fsync(finished.fileno())
                made.replace(target)
            remove(target)
    except OSError as error:
        raise BrinebellError(
            f"{target} cannot be written: {error.strerror}. What is there stays: once that is mended, "
            "the same command goes on"
        ) from error
    except DatabaseError as error:
        raise BrinebellError(
            f"what the store has let go cannot be read: {error}. What is there stays: once the database "
            "answers, the same command goes on"
        ) from error
    if not count:
        raise BrinebellError(_NOTHING)
    return Exported(count, before, file.cut_off, to_us, tuple(lacks))


def _begun(reader: StoreReader, chosen: Sequence[StoredSeries], asked: Asked) -> Begun:
    extent = reader.extent_us
    if extent is None:
        raise BrinebellError("the store holds no readings yet")
    from_us = max(min(reader.begins_us(one.id) for one in chosen), asked.from_us or 0)
    if reader.has_older and asked.from_us is not None:
        from_us = asked.from_us
    to_us = min(extent[1] + 1, extent[1] + 1 if asked.to_us is None else asked.to_us)
    if from_us >= to_us:
        raise BrinebellError(_NOTHING)
    names = tuple(f"{one.tank}/{one.name}" for one in chosen)
    return Begun(str(reader.path), names, asked.from_us, asked.to_us, from_us, to_us)


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


def _rows(reader: StoreReader, chosen: Sequence[StoredSeries], day: Day) -> int:
    """How many readings of a day the store has now; as many as noted where it may not have them all."""
    if not all(reader.is_whole(one.id, day.from_us, day.to_us) for one in chosen):
        return day.rows
    return sum(reader.count(one.id, day.from_us, day.to_us) for one in chosen)


def _day(
    reader: StoreReader, chosen: Sequence[StoredSeries], from_us: int, to_us: int
) -> tuple[Recording, int, str]:
    """What can be written of a stretch, in order of time, how many readings it has, and what is missing."""
    parts, rows, lacks = [], 0, ""
    for index, one in enumerate(chosen):
        readings, lack = reader.every_reading(one.id, from_us, to_us)
        lacks = lacks or lack
        rows += len(readings.times_us)
        keep = np.isfinite(readings.values)
        number = int(keep.sum())
        parts.append(
            Recording(readings.times_us[keep], readings.values[keep], np.full(number, index, np.int64))
        )
    return join(parts), rows, lacks
