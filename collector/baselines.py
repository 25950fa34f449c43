"""What is usual for each series: fitted from the last weeks in the store, recorded there, and read again.

A first, plain fit that costs milliseconds a series, so it runs in the service; one that needs more will
have a worker of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from collector.configuration import Configuration, SeriesConfiguration
from collector.store import SLOT_US, Store, StoreReader
from rules import HOUR_US, Baseline, DayProfile, Learning, fit_day_profile

# The name of the fit in the store, beside its numbers.
FORM = "day_profile"
DAY_US = 24 * HOUR_US
# Four weeks: enough of each weekday, and young enough to follow the seasons of a room.
LEARN_FROM_US = 28 * DAY_US


def record_baselines(
    store: Store, reader: StoreReader, configuration: Configuration, ids: Sequence[int], now_us: int
) -> dict[int, Baseline]:
    """Fit a baseline for every series that has days enough, record it as applying from now on, return all.

    Incidents are left out, for what was wrong then is not usual, and planned work that moved the series.
    """
    found: dict[int, Baseline] = {}
    zones = {tank.name: tank.rules.time_zone for tank in configuration.tanks}
    for index, series in enumerate(configuration.series):
        buckets = reader.buckets(ids[index], now_us - LEARN_FROM_US, now_us, LEARN_FROM_US // SLOT_US)
        means = buckets.mean.copy()
        moved = _planned_work(reader, series, now_us)
        for start_us, end_us in (*_incidents(reader, series.tank, now_us), *moved):
            means[(buckets.starts_us + SLOT_US > start_us) & (buckets.starts_us < end_us)] = np.nan
        fitted = fit_day_profile(buckets.starts_us, means, zones[series.tank], series.quantity)
        if isinstance(fitted, Learning):
            continue
        data = {"time_zone": fitted.time_zone, "low": fitted.low, "high": fitted.high}
        store.record_baseline(index, FORM, data, fitted_us=now_us, applies_from_us=now_us)
        found[index] = fitted
    return found


class Version(NamedTuple):
    """A baseline of a series, by its index in the configuration, and the instant from which it judges."""

    applies_from_us: int
    series: int
    baseline: Baseline


def recorded_baselines(
    reader: StoreReader, ids: Sequence[int], from_us: int
) -> tuple[list[Version], int | None]:
    """Return the versions in force at an instant and those after it, and when the youngest was fitted.

    They are in the order in which they began to apply; one stays in force until the next of its series.
    """
    indexes = {number: index for index, number in enumerate(ids)}
    found: list[Version] = []
    youngest_us: int | None = None
    for version in reader.baselines(from_us):
        index = indexes.get(version.series)
        if index is None or version.form != FORM:
            continue
        data = version.data
        profile = DayProfile(data["time_zone"], tuple(data["low"]), tuple(data["high"]))
        found.append(Version(version.applies_from_us, index, profile))
        youngest_us = max(version.fitted_us, youngest_us or 0)
    return found, youngest_us


def _planned_work(reader: StoreReader, series: SeriesConfiguration, now_us: int) -> list[tuple[int, int]]:
    """Begin and end, with its settle time, of the planned work that moved a series."""
    return [
        (work.from_us, work.settled_us)
        for work in reader.works(series.tank, now_us - LEARN_FROM_US - DAY_US, now_us)
        if work.disturbs(series.quantity)
    ]


def _incidents(reader: StoreReader, tank: str, now_us: int) -> list[tuple[int, int]]:
    """Begin and end of the tank's incidents."""
    return [
        (one.incident.first_evidence_us, one.incident.ended_at_us or now_us)
        for one in reader.incidents()
        if one.incident.tank == tank
    ]
