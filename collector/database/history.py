"""Readings of any time: from the store while it has them, from the database for what it has no more."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from collector.database.target import Past
from collector.store import Readings


class Recent(Protocol):
    """What the store gives, `collector.store.StoreReader`; `series` is an id in it."""

    def series_id(self, tank: str, name: str) -> int:
        """Id of a series; KeyError if it was never registered."""
        ...

    def first_observed_us(self, series: int) -> int | None:
        """The instant of its oldest reading; None if there is none."""
        ...

    def readings(self, series: int, start_us: int, end_us: int) -> Readings:
        """Its readings in a half-open range."""
        ...


def readings_of(
    recent: Recent, past: Past | None, tank: str, series: str, start_us: int, end_us: int
) -> Readings:
    """The readings of a series from an instant up to, not including, another, in order of time.

    The database is asked for what lies before the oldest reading of the store alone, and only then.

    Parameters
    ----------
    recent
        The store.
    past
        The database; None where there is none, which leaves what the store has.

    Raises
    ------
    DatabaseError
        If it is needed and cannot be asked.
    """
    try:
        number = recent.series_id(tank, series)
    except KeyError:
        first_us, here = None, Readings(np.empty(0, np.int64), np.empty(0), np.empty(0, np.uint8))
    else:
        first_us, here = recent.first_observed_us(number), recent.readings(number, start_us, end_us)
    until_us = end_us if first_us is None else min(first_us, end_us)
    if past is None or start_us >= until_us:
        return here
    there = past.readings(tank, series, start_us, until_us)
    return Readings(
        np.concatenate([there.times_us, here.times_us]),
        np.concatenate([there.values, here.values]),
        np.concatenate([there.flags, here.flags]),
    )
