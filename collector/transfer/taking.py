"""History into the store of a stopped service: charted and learned from, never judged.

The key of a reading is its series and instant, as everywhere: what is there already changes nothing, and
another value for the same instant is kept as a conflict. Of what is older than the readings that the store
keeps there are minutes and quarter hours alone, as if it had been here and let go.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from collector.configuration import Configuration
from collector.readings import Mark
from collector.store import Commit, Readings, Row, Store, Upkeep
from rules import HOUR_US, IntArray

# A commit of so many is some 50 ms of a slow card's time, and what a kill costs at most.
ROWS = 5000
_DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Account:
    """What became of the readings of an import.

    Parameters
    ----------
    new, known, conflicts
        As `collector.store.Committed` counts them, in this run.
    before
        How many an earlier run had taken.
    older
        Those of which there are minutes and quarter hours alone.
    no_time
        Those from before the year 2000 or from the future.
    """

    new: int = 0
    known: int = 0
    conflicts: int = 0
    before: int = 0
    older: int = 0
    no_time: int = 0


class Taking:
    """Takes readings, and counts them in `account`.

    Parameters
    ----------
    store
        Into which they go.
    configuration
        With its series, and how long readings are kept.
    now_us
        As of when.
    origin
        Where they come from, for who looks at a conflict.
    of_database
        Where that is the time-series database, which one.
    """

    def __init__(
        self,
        store: Store,
        configuration: Configuration,
        now_us: int,
        origin: str,
        *,
        of_database: str | None = None,
    ) -> None:
        self._store, self._of_database = store, of_database
        self._payload = f"imported from {origin}".encode()
        self._ids = store.register(configuration.series)
        self._upkeep = Upkeep(store, configuration.store.keep_us)
        self.from_us = self._upkeep.kept_from_us(now_us)
        # An import is no sign of life: who looks after an outage finds the service's own last commit.
        last = store.connection.execute(
            "SELECT committed_us FROM commits ORDER BY no DESC LIMIT 1"
        ).fetchone()
        self._committed_us = now_us if last is None else int(last[0])
        self.account = Account()

    def keep(self, series: IntArray, readings: Readings, notes: Mapping[str, str] | None = None) -> None:
        """Keep readings from `from_us` on, in one commit with notes; `series` are their indices."""
        rows = list(self._rows(series, readings))
        done = self._store.commit(
            Commit(self._committed_us, None, rows=rows, notes=notes or {}, of_database=self._of_database)
        )
        account = self.account
        self.account = replace(
            account,
            new=account.new + done.inserted,
            known=account.known + done.duplicates,
            conflicts=account.conflicts + done.conflicts,
        )

    def roll_up(self, series: int, readings: Readings) -> None:
        """Take readings of one series from before `from_us`, a day of them at a time."""
        days = readings.times_us // _DAY_US
        for day in np.unique(days).tolist():
            begin, end = np.searchsorted(days, [day, day + 1]).tolist()
            columns = (one.tolist() for one in readings.part(slice(begin, end)))
            rows = zip([self._ids[series]] * (end - begin), *columns, strict=True)
            self._upkeep.add_older(list(rows))
        self.account = replace(self.account, older=self.account.older + len(days))

    def _rows(self, series: IntArray, readings: Readings) -> Iterator[Row]:
        mark, payload = int(Mark.IMPORTED), self._payload
        columns = (one.tolist() for one in (series, *readings))
        for index, time_us, value, flag in zip(*columns, strict=True):
            yield (index, time_us, value, flag, mark, 0, 0, payload)
