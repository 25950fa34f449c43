"""When what is learned is fitted anew, and what became of it: the service's loop turns this."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Protocol

from collector.errors import StoreError
from collector.learning.recorded import Learned, Standing, record
from collector.learning.refit import Failed, Fits, Outcome, Refit
from collector.learning.tasks import Tasks
from collector.learning.when import next_refit_us
from collector.store import Store
from rules import HOUR_US

_LOG = logging.getLogger(__name__)


class Running(Protocol):
    """A fit that was started; `outcome` is None while it runs."""

    @property
    def outcome(self) -> Outcome | None:
        """What came of it."""
        ...

    def close(self) -> None:
        """End it, if it still runs."""
        ...


class Nightly:
    """Starts a fit when it is due, and records what comes of it; never waits.

    Parameters
    ----------
    path
        Of the store, for the fitting process to read.
    store
        To record in.
    tasks
        What to fit.
    standing
        What stands now, by index of the series.
    first_us
        When the first fit of each time zone is due; tanks are fitted in their own night.
    start
        Starts a fit as of an instant.
    """

    def __init__(
        self,
        path: Path,
        store: Store,
        tasks: Tasks,
        standing: Mapping[int, Standing],
        *,
        first_us: Mapping[str, int],
        start: Callable[[Path, Tasks, int], Running] = Refit,
    ) -> None:
        self._path = path
        self._store = store
        self._tasks = tasks
        self._start = start
        self._running: Running | None = None
        # The time zones of the fit that runs.
        self._zones: frozenset[str] = frozenset()
        self._standing = dict(standing)
        self._due_us = dict(first_us)

    @property
    def due_us(self) -> Mapping[str, int]:
        """When the next fit of each time zone is due."""
        return self._due_us

    @property
    def standing(self) -> Mapping[int, Standing]:
        """The newest outcome of each series, by index; may be read from any thread."""
        return self._standing

    def turn(self, now_us: int) -> Learned | None:
        """Start what is due, take what is done; return what judges from now on, mostly None for no change."""
        if self._running is None:
            zones = frozenset(zone for zone, due_us in self._due_us.items() if now_us >= due_us)
            if zones:
                self._begin(zones, now_us)
            return None
        outcome = self._running.outcome
        if outcome is None:
            return None
        self._running = None
        return self._take(outcome, now_us)

    def close(self) -> None:
        """End a fit that still runs; what stands goes on standing."""
        if self._running is not None:
            self._running.close()
            self._running = None

    def _begin(self, zones: frozenset[str], now_us: int) -> None:
        self._zones = zones
        try:
            self._running = self._start(self._path, self._tasks.of_zones(zones), now_us)
        except OSError as error:  # no memory, no process
            self._give_up(str(error), now_us)

    def _take(self, outcome: Outcome, now_us: int) -> Learned | None:
        if isinstance(outcome, Failed):
            self._give_up(outcome.reason, now_us)
            return None
        for index, reason in outcome.errors.items():
            task = next(one for one in self._tasks.series if one.series == index)
            _LOG.warning(
                "what is usual for series %d (%s of %s) could not be fitted, what stood stands: %s",
                index,
                task.quantity,
                task.tank,
                reason,
            )
        for tank, reason in outcome.model_errors.items():
            _LOG.warning("the heat of %s could not be fitted, what stood stands: %s", tank, reason)
        try:
            found = record(
                self._store,
                outcome.found.items(),
                outcome.models.items(),
                fitted_us=outcome.fitted_us,
                applies_from_us=now_us,
            )
        except (StoreError, sqlite3.Error) as error:
            self._give_up(str(error), now_us)
            return None
        # A new mapping: pages may be reading the old one.
        self._standing = self._standing | _standing_of(outcome)
        done_us = max(now_us, outcome.fitted_us)
        self._due_us.update({zone: next_refit_us(done_us, zone) for zone in self._zones})
        return found

    def _give_up(self, reason: str, now_us: int) -> None:
        _LOG.warning("what is learned could not be fitted anew, what stood stands: %s", reason)
        self._due_us.update(dict.fromkeys(self._zones, now_us + HOUR_US))


def _standing_of(fits: Fits) -> dict[int, Standing]:
    return {index: Standing(fitted, fits.fitted_us) for index, fitted in fits.found.items()}
