"""What the time-series database has, back into the store that lost it: with its flags, a day at a time."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from collector.configuration import Configuration
from collector.database import Past
from collector.database.days import days
from collector.store import SLOT_US, Store
from collector.transfer.taking import ROWS, Account, Taking


class Refilled(NamedTuple):
    """What became of it.

    Parameters
    ----------
    account
        Of all series.
    counts
        How many readings the database gave in this run, by index of the series.
    begun_us
        Where it began, which an earlier run had come to if that is later than what was asked for.
    """

    account: Account
    counts: tuple[int, ...]
    begun_us: int


def import_database(
    store: Store,
    past: Past,
    configuration: Configuration,
    span_us: tuple[int, int],
    now_us: int,
    tell: Callable[[int, int], object] = lambda _, __: None,
) -> Refilled:
    """Put what the database has of a span into the store; `tell` is called with days done, and of how many.

    The span is widened to whole quarters of an hour. How far it has come is noted each day, so that the same
    command goes on where it was broken off, perhaps with a later end.

    Raises
    ------
    DatabaseError, StoreError
        If the database cannot be asked, or the store refuses.
    """
    start_us, end_us = span_us[0] // SLOT_US * SLOT_US, min(-(-span_us[1] // SLOT_US) * SLOT_US, now_us + 1)
    database = configuration.database
    identity = "" if database is None else database.identity
    note = f"import {_digest(configuration, identity, start_us)}"
    begin_us = max(start_us, int(store.note(note) or 0))
    taking = Taking(store, configuration, now_us, "the database", of_database=identity)
    counts = [0] * len(configuration.series)
    parts = list(days(begin_us, end_us))
    for number, (from_us, to_us) in enumerate(parts, start=1):
        for index, one in enumerate(configuration.series):
            found = past.readings(one.tank, one.name, from_us, to_us)
            counts[index] += len(found.times_us)
            first = int(np.searchsorted(found.times_us, taking.from_us))
            taking.roll_up(index, found.part(slice(first)))
            for begin in range(first, len(found.times_us), ROWS):
                piece = found.part(slice(begin, begin + ROWS))
                taking.keep(np.full(len(piece.times_us), index, np.int64), piece)
        # The last day forgets: whoever asks once more has it looked through anew.
        store.set_note(note, str(to_us) if to_us < end_us else "")
        tell(number, len(parts))
    return Refilled(taking.account, tuple(counts), begin_us)


def _digest(configuration: Configuration, identity: str, start_us: int) -> str:
    """Names what is imported; not its end, which may be now."""
    series = [(one.tank, one.name) for one in configuration.series]
    return hashlib.sha256(repr((identity, start_us, series)).encode()).hexdigest()
