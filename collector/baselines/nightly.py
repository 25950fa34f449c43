"""When what is usual is fitted anew, and what became of it: the service's loop turns this."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Protocol

from collector.baselines.fitting import Task
from collector.baselines.recorded import Standing, record
from collector.baselines.refit import Failed, Fits, Outcome, Refit, next_refit_us
from collector.errors import StoreError
from collector.store import Store
from rules import HOUR_US, Baseline

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
        The series to fit.
    standing
        What stands now, by index of the series.
    time_zone
        On whose night fits are made.
    first_us
        When the first is due.
    start
        Starts a fit as of an instant.
    """

    def __init__(
        self,
        path: Path,
        store: Store,
        tasks: Sequence[Task],
        standing: Mapping[int, Standing],
        *,
        time_zone: str,
        first_us: int,
        start: Callable[[Path, Sequence[Task], int], Running] = Refit,
    ) -> None:
        self._path = path
        self._store = store
        self._tasks = tuple(tasks)
        self._time_zone = time_zone
        self._start = start
        self._running: Running | None = None
        self._standing = dict(standing)
        self.due_us = first_us

    @property
    def standing(self) -> Mapping[int, Standing]:
        """The newest outcome of each series, by index; may be read from any thread."""
        return self._standing

    def turn(self, now_us: int) -> Mapping[int, Baseline | None]:
        """Start what is due, take what is done; return what judges series from now on, mostly nothing."""
        if self._running is None:
            if now_us >= self.due_us and self._tasks:
                self._begin(now_us)
            return {}
        outcome = self._running.outcome
        if outcome is None:
            return {}
        self._running = None
        return self._take(outcome, now_us)

    def close(self) -> None:
        """End a fit that still runs; what stands goes on standing."""
        if self._running is not None:
            self._running.close()
            self._running = None

    def _begin(self, now_us: int) -> None:
        try:
            self._running = self._start(self._path, self._tasks, now_us)
        except OSError as error:  # no memory, no process
            self._give_up(str(error), now_us)

    def _take(self, outcome: Outcome, now_us: int) -> Mapping[int, Baseline | None]:
        if isinstance(outcome, Failed):
            self._give_up(outcome.reason, now_us)
            return {}
        for index, reason in outcome.errors.items():
            task = next(one for one in self._tasks if one.series == index)
            _LOG.warning(
                "what is usual for series %d (%s of %s) could not be fitted, what stood stands: %s",
                index,
                task.quantity,
                task.tank,
                reason,
            )
        try:
            found = record(
                self._store, outcome.found.items(), fitted_us=outcome.fitted_us, applies_from_us=now_us
            )
        except (StoreError, sqlite3.Error) as error:
            self._give_up(str(error), now_us)
            return {}
        # A new mapping: pages may be reading the old one.
        self._standing = self._standing | _standing_of(outcome)
        self.due_us = next_refit_us(max(now_us, outcome.fitted_us), self._time_zone)
        return found

    def _give_up(self, reason: str, now_us: int) -> None:
        _LOG.warning("what is usual could not be fitted anew, what stood stands: %s", reason)
        self.due_us = now_us + HOUR_US


def _standing_of(fits: Fits) -> dict[int, Standing]:
    return {index: Standing(fitted, fits.fitted_us) for index, fitted in fits.found.items()}
