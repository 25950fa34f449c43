"""What a fit is made from: the last weeks of a series in the store, without what was wrong or planned then.

Readings that failed a quality test are in no rollup. Suspect ones are: to leave out what is unusual would
hold a baseline where it is for ever.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple, Protocol

import numpy as np

from collector.learning.recorded import Fitted
from collector.store import SLOT_US, Buckets
from rules import HOUR_US, LEARN_DAYS, PlannedWork, fit_baseline

DAY_US = 24 * HOUR_US
LEARN_FROM_US = LEARN_DAYS * DAY_US
# For the season: more years make it surer, and older ones tell of another tank.
_SEASON_DAYS = 3 * 365


class Recorded(Protocol):
    """What a fit is made from: of the store's reader, or of a replay."""

    def buckets(self, series: int, start_us: int, end_us: int, count: int) -> Buckets:
        """See `StoreReader.buckets`."""
        ...

    def incidents(self) -> Sequence[Any]:
        """See `StoreReader.incidents`."""
        ...

    def works(self, tank: str, start_us: int, end_us: int) -> Sequence[PlannedWork]:
        """See `StoreReader.works`."""
        ...


class Task(NamedTuple):
    """A series to be fitted: its index in the configuration, its id in the store, and what it is."""

    series: int
    id: int
    tank: str
    quantity: str
    time_zone: str
    limits: tuple[float, float] | None


def fit(reader: Recorded, task: Task, now_us: int) -> Fitted:
    """Fit what is usual for a series, as of an instant; see `rules.fit_baseline`."""
    recent = quarter_hours(reader, task.id, now_us)
    excluded = excluded_spans(reader, task.tank, task.quantity, now_us)
    days = reader.buckets(task.id, now_us - _SEASON_DAYS * DAY_US, now_us, _SEASON_DAYS)
    width_us = int(days.starts_us[1] - days.starts_us[0])
    return fit_baseline(
        recent.starts_us,
        recent.mean,
        task.time_zone,
        task.quantity,
        excluded,
        limits=task.limits,
        daily=(days.starts_us + np.int64(width_us // 2), days.mean),
    )


def quarter_hours(reader: Recorded, series: int, now_us: int) -> Buckets:
    """The quarter hours of a series, by its id, from which is learned as of an instant."""
    return reader.buckets(series, now_us - LEARN_FROM_US, now_us, LEARN_FROM_US // SLOT_US + 1)


def excluded_spans(reader: Recorded, tank: str, quantity: str, now_us: int) -> list[tuple[int, int]]:
    """When there is nothing to learn of a quantity: begin and end of incidents, and of work that moves it."""
    incidents = [
        (one.incident.first_evidence_us, one.incident.ended_at_us or now_us)
        for one in reader.incidents()
        if one.incident.tank == tank
    ]
    works = [
        (work.from_us, work.settled_us)
        for work in reader.works(tank, now_us - LEARN_FROM_US - DAY_US, now_us)
        if work.disturbs(quantity)
    ]
    return [*incidents, *works]
