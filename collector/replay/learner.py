"""What the service would have learned of a recording, night by night, from what had been recorded by then.

The same fits from the same quarter hours as `collector.learning` takes from the store, in this process: a
replay has nobody to keep waiting.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from types import SimpleNamespace

import numpy as np

from collector.configuration import Configuration
from collector.learning import (
    HeatVersion,
    Version,
    baseline_of,
    fit,
    fit_heat,
    model_of,
    next_refit_us,
    tasks_of,
)
from collector.store import Buckets, quarter_hour_rows, series_buckets
from rules import Block, Flag, Incident, PlannedWork

_LEFT_OUT = (int(Flag.FAIL), int(Flag.MISSING))


class Learner:
    """Remembers what was recorded, and fits it at the half past three of each tank's wall.

    Parameters
    ----------
    configuration
        Of the tanks.
    planned
        All works, in order of time.
    """

    def __init__(self, configuration: Configuration, planned: Sequence[PlannedWork]) -> None:
        self._tasks = tasks_of(configuration, range(len(configuration.series)))
        self._planned = planned
        self._rows: list[list[np.ndarray]] = [[] for _ in configuration.series]
        self._incidents: dict[int, Incident] = {}

    def refits_us(self, first_us: int, last_us: int) -> Iterator[int]:
        """When it fits, from one instant to another."""
        for zone in sorted(self._tasks.zones):
            at_us = next_refit_us(first_us, zone)
            while at_us <= last_us:
                yield at_us
                at_us = next_refit_us(at_us, zone)

    def take(self, block: Block, primary: Sequence[int]) -> None:
        """Remember readings that were judged."""
        good = np.isfinite(block.values) & ~np.isin(np.array(primary), _LEFT_OUT)
        for index in np.unique(block.series[good]).tolist():
            mine = good & (block.series == index)
            self._rows[index].append(quarter_hour_rows(block.times_us[mine], block.values[mine]))

    def hear(self, incident: Incident) -> None:
        """Remember an incident as it is now: nothing is learned of it."""
        self._incidents[incident.number] = incident

    def fit(self, now_us: int) -> list[Version | HeatVersion]:
        """What is learned in a night that has come."""
        zones = [zone for zone in self._tasks.zones if next_refit_us(now_us - 1, zone) == now_us]
        tasks = self._tasks.of_zones(zones)
        found: list[Version | HeatVersion] = [
            Version(now_us, task.series, baseline_of(fit(self, task, now_us))) for task in tasks.series
        ]
        found += [
            HeatVersion(now_us, task.tank, model_of(fit_heat(self, task, now_us))) for task in tasks.tanks
        ]
        return found

    # -- what a fit asks for, as of the store ------------------------------------------------------

    def buckets(self, series: int, start_us: int, end_us: int, count: int) -> Buckets:
        """As `StoreReader.buckets` of a long range."""
        rows = self._rows[series]
        return series_buckets(np.concatenate(rows) if rows else None, start_us, end_us, count)

    def incidents(self) -> Sequence[SimpleNamespace]:
        """As `StoreReader.incidents`, the newest first."""
        return [SimpleNamespace(incident=one) for one in reversed(self._incidents.values())]

    def works(self, tank: str, start_us: int, end_us: int) -> Sequence[PlannedWork]:
        """As `StoreReader.works`."""
        return [
            one for one in self._planned if one.tank == tank and one.to_us > start_us and one.from_us < end_us
        ]
