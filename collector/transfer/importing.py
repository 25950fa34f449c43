"""A recorded file into the store of a stopped service, as history: charted and learned from, never judged.

The key of a reading is its series and instant, as everywhere: what is there already changes nothing, and
another value for the same instant is kept as a conflict. How far a file has come is noted with each commit,
so that the same command goes on where a kill ended it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from collector.configuration import Configuration, SeriesConfiguration
from collector.errors import PayloadError
from collector.readings import Mark
from collector.recordings import Form, Recording, read_file, spelled_unit
from collector.recordings.form import Converters, States
from collector.store import Commit, Row, Store
from rules import Flag

# A commit of so many is some 50 ms of a slow card's time, and what a kill costs at most.
_ROWS = 5000
# 2000-01-01: before it a clock was not set, as for messages.
_FIRST_US = 946_684_800_000_000
_PIECE = 1 << 20


@dataclass(frozen=True, slots=True)
class Account:
    """What became of the readings of a file.

    Parameters
    ----------
    new, known, conflicts
        As `collector.store.Committed` counts them, in this run.
    before
        How many an earlier run had taken.
    let_go
        Those older than what the store still keeps single readings of.
    no_time
        Those from before the year 2000 or from the future.
    """

    new: int = 0
    known: int = 0
    conflicts: int = 0
    before: int = 0
    let_go: int = 0
    no_time: int = 0


def import_file(
    store: Store,
    path: Path,
    configuration: Configuration,
    converter: Converters,
    state: States,
    form: Form,
    now_us: int,
    tell: Callable[[int, int], object] = lambda _, __: None,
) -> tuple[Recording, Account]:
    """Put the readings of a file into the store; `tell` is called with how many are done, and of how many.

    Nothing is computed from other series: a value is what the file says.

    Raises
    ------
    BrinebellError
        If the file cannot be read, or the store refuses.
    """
    recording = read_file(path, configuration, _canonical_as_it_is(converter), state, form)
    is_timed = (recording.times_us >= _FIRST_US) & (recording.times_us <= now_us)
    is_kept = recording.times_us >= store.readings_from_us
    wanted = is_timed & is_kept
    times, values, series = (
        column[wanted].tolist() for column in (recording.times_us, recording.values, recording.series)
    )
    # An import is no sign of life: who looks after an outage finds the service's own last commit.
    last = store.connection.execute("SELECT committed_us FROM commits ORDER BY no DESC LIMIT 1").fetchone()
    committed_us = now_us if last is None else int(last[0])
    note = f"import {_digest(path, configuration, form)}"
    begin = min(int(store.note(note) or 0), len(times))
    account = Account(before=begin, let_go=int(np.sum(is_timed & ~is_kept)), no_time=int(np.sum(~is_timed)))
    for first in range(begin, len(times), _ROWS):
        behind = min(first + _ROWS, len(times))
        rows = list(_rows(times[first:behind], values[first:behind], series[first:behind], path.name))
        done = store.commit(
            # The last one forgets: whoever imports the file once more has it looked through anew.
            Commit(committed_us, None, rows=rows, notes={note: str(behind) if behind < len(times) else ""})
        )
        account = replace(
            account,
            new=account.new + done.inserted,
            known=account.known + done.duplicates,
            conflicts=account.conflicts + done.conflicts,
        )
        tell(behind, len(times))
    return recording, account


def _rows(times: list[int], values: list[float], series: list[int], name: str) -> Iterator[Row]:
    flag, mark, payload = int(Flag.NOT_EVALUATED), int(Mark.IMPORTED), f"imported from {name}".encode()
    for time_us, value, index in zip(times, values, series, strict=True):
        yield (index, time_us, value, flag, mark, 0, 0, payload)


def _canonical_as_it_is(converter: Converters) -> Converters:
    """Take what is in its canonical unit for what it is, also where something else arrives over MQTT."""

    def chosen(spelling: str | None, series: SeriesConfiguration) -> Callable[[float], float]:
        if spelling and spelling == spelled_unit(series.quantity):
            return _same
        if series.temperature_from is not None and series.derived_from is None:
            raise PayloadError(
                f"{series.name} is compensated for temperature, which an import does not: "
                f"bring its values in {spelled_unit(series.quantity)}, with that as their unit"
            )
        return converter(spelling, series)

    return chosen


def _same(value: float) -> float:
    return value


def _digest(path: Path, configuration: Configuration, form: Form) -> str:
    """Names a file, and how it is read: read in another way, its readings are others."""
    found = hashlib.sha256(repr((form, configuration.series)).encode())
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            found.update(piece)
    return found.hexdigest()
