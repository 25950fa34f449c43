"""A recorded file into the store of a stopped service, as history.

How far it has come is noted with each commit, so that the same command goes on where a kill ended it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from collector.configuration import Configuration, SeriesConfiguration
from collector.errors import PayloadError
from collector.recordings import Form, Recording, read_file, spelled_unit
from collector.recordings.form import Converters, States
from collector.store import Readings, Store
from collector.transfer.taking import ROWS, Account, Taking
from rules import Flag

# 2000-01-01: before it a clock was not set, as for messages.
_FIRST_US = 946_684_800_000_000
_PIECE = 1 << 20


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
    flags = np.full(len(recording), int(Flag.NOT_EVALUATED), np.uint8)
    taking = Taking(store, configuration, now_us, path.name)
    is_timed = (recording.times_us >= _FIRST_US) & (recording.times_us <= now_us)
    is_kept = recording.times_us >= taking.from_us

    def those(which: npt.NDArray[np.bool_]) -> Readings:
        return Readings(recording.times_us[which], recording.values[which], flags[which])

    for index in np.unique(recording.series[is_timed & ~is_kept]).tolist():
        taking.roll_up(index, those(is_timed & ~is_kept & (recording.series == index)))
    series, kept = recording.series[is_timed & is_kept], those(is_timed & is_kept)
    note = f"import {_digest(path, configuration, form)}"
    begin = min(int(store.note(note) or 0), len(series))
    for first in range(begin, len(series), ROWS):
        piece = slice(first, min(first + ROWS, len(series)))
        # The last one forgets: whoever imports the file once more has it looked through anew.
        notes = {note: str(piece.stop) if piece.stop < len(series) else ""}
        taking.keep(series[piece], kept.part(piece), notes)
        tell(piece.stop, len(series))
    return recording, replace(taking.account, before=begin, no_time=int(np.sum(~is_timed)))


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
