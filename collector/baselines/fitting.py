"""What a fit is made from: the last weeks of a series in the store, without what was wrong or planned then.

Readings that failed a quality test are in no rollup. Suspect ones are: to leave out what is unusual would
hold a baseline where it is for ever.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from collector.baselines.recorded import Fitted
from collector.configuration import Configuration
from collector.store import SLOT_US, StoreReader
from rules import HOUR_US, LEARN_DAYS, TWO_STATE, SeriesRules, fit_baseline

DAY_US = 24 * HOUR_US
LEARN_FROM_US = LEARN_DAYS * DAY_US
# For the season: more years make it surer, and older ones tell of another tank.
_SEASON_DAYS = 3 * 365


class Task(NamedTuple):
    """A series to be fitted: its index in the configuration, its id in the store, and what it is."""

    series: int
    id: int
    tank: str
    quantity: str
    time_zone: str
    limits: tuple[float, float] | None


def tasks_of(configuration: Configuration, ids: Sequence[int]) -> list[Task]:
    """The series that a fit can say something about; a contact or a state has no usual band."""
    zones = {tank.name: tank.rules.time_zone for tank in configuration.tanks}
    return [
        Task(index, ids[index], rules.tank, rules.quantity, zones[rules.tank], _limits(rules))
        for index, rules in enumerate(configuration.engine.series)
        if rules.quantity not in TWO_STATE
    ]


def fit(reader: StoreReader, task: Task, now_us: int) -> Fitted:
    """Fit what is usual for a series, as of an instant; see `rules.fit_baseline`."""
    recent = reader.buckets(task.id, now_us - LEARN_FROM_US, now_us, LEARN_FROM_US // SLOT_US + 1)
    excluded = [*_incidents(reader, task.tank, now_us), *_planned_work(reader, task, now_us)]
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


def _limits(rules: SeriesRules) -> tuple[float, float] | None:
    """The nearest limits on both sides; None where one side has none."""
    low = [alarm.setpoint for alarm in rules.limit_alarms if not alarm.is_high]
    high = [alarm.setpoint for alarm in rules.limit_alarms if alarm.is_high]
    return (max(low), min(high)) if low and high else None


def _planned_work(reader: StoreReader, task: Task, now_us: int) -> list[tuple[int, int]]:
    """Begin and end, with its settle time, of the planned work that moved a series."""
    return [
        (work.from_us, work.settled_us)
        for work in reader.works(task.tank, now_us - LEARN_FROM_US - DAY_US, now_us)
        if work.disturbs(task.quantity)
    ]


def _incidents(reader: StoreReader, tank: str, now_us: int) -> list[tuple[int, int]]:
    """Begin and end of the tank's incidents."""
    return [
        (one.incident.first_evidence_us, one.incident.ended_at_us or now_us)
        for one in reader.incidents()
        if one.incident.tank == tank
    ]
