"""A reading on its way from a payload to the store."""

from __future__ import annotations

from enum import IntFlag
from typing import NamedTuple


class Mark(IntFlag):
    """What is special about how a reading's time came about; kept with the reading."""

    NONE = 0
    ARRIVAL_TIME = 1  # the payload had no time: arrival stands for it
    TIME_REPLACED = 2  # the payload's time was in the future or before 2000: arrival stands for it
    TIME_UNKNOWN = 4  # arrived as backlog without a time of its own: only the order is known
    LATE = 8  # older than the newest reading of its series: stored, not judged
    DERIVED = 16  # computed from other series
    IMPORTED = 32  # history from a file: for charts and what is usual, never judged


class Observation(NamedTuple):
    """What a payload decoder found: one value under the name that the payload gives it.

    `name` is "" where the payload holds one value. `value` is a number, a boolean or a word.
    `unit` is the payload's own unit, None where it has none. `observed_us` is the payload's own time in
    microseconds since 1970 UTC, None where it has none. `is_relative` says that this time was counted
    from the arrival of the payload: a redelivery must be read with the arrival that the first one had.
    """

    name: str
    value: float | bool | str
    unit: str | None = None
    observed_us: int | None = None
    is_relative: bool = False


class Reading(NamedTuple):
    """One value of one series, in the canonical unit of its quantity.

    `series` indexes `Configuration.series`. `observed_us` None means that the payload had no time.
    """

    series: int
    observed_us: int | None
    value: float
    mark: Mark = Mark.NONE
