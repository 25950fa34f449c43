"""The upkeep of a running store: rolls up what is a quarter of an hour old, and lets old readings go.

It takes turns with the loop of the service, in small steps, each one transaction: a kill at any instant
leaves the store as it was before a step or behind it. A store of an older version, or one into which history
was imported, is behind, and catches up by the same steps.

Readings go only where somebody asked for it (`service.keep_readings`), and slowly: an hour of them a minute
at most, and none in the first hour of the service, so that a clock that stands wrong costs little.
What lies within a day of an incident of the same tank stays, and so does what a mirror has not sent. Minutes,
quarter hours, alarms and incidents stay for ever.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence

from collector.errors import StoreError
from collector.store.keeping import between, near_incidents
from collector.store.mirroring import unmirrored_from_us
from collector.store.progress import Progress
from collector.store.rollups import GRIDS, SLOT_US, Grid, slot_of
from collector.store.writer import Store
from rules import HOUR_US

_LOG = logging.getLogger(__name__)

DAY_US = 24 * HOUR_US
# A step that takes longer than this is made smaller, for the loop waits for it.
_STEP_S = 0.05
# Of all time the upkeep takes one part in so many while it is behind.
_SHARE = 5
_LOOK_S = 1.0
_LET_GO_EVERY_S = 60.0
_FIRST_LET_GO_S = 3600.0
_LET_GO_US = HOUR_US
# Commits outlive their readings by so much: by their own clock, which may have been wrong for days.
_COMMITS_LATER_US = 30 * DAY_US
_MOST_COMMITS = 20_000
_NEVER_US = 2**63 - 1
_OF_STRETCH = "series = ? AND observed_us >= ? AND observed_us < ?"
# Readings on their way into rollups, and no farther.
_OLDER = (
    "CREATE TEMP TABLE IF NOT EXISTS older(series INTEGER NOT NULL, observed_us INTEGER NOT NULL, value REAL,"
    " flag_mark INTEGER NOT NULL, PRIMARY KEY(series, observed_us)) STRICT, WITHOUT ROWID"
)
# What names a commit beside readings and asks for its instant.
_REFERRING = (("boards", "commit_no"), ("planned_work", "commit_no"), ("planned_work", "withdrawn_no"))


class Upkeep:
    """Keeps rollups up and the readings within their time.

    Parameters
    ----------
    store
        Whose.
    keep_us
        How long readings are kept; None for ever.
    is_mirrored
        Whether a database follows: what it does not have yet stays, however long it is away.
    """

    def __init__(
        self,
        store: Store,
        keep_us: int | None = None,
        *,
        is_mirrored: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store, self._keep_us, self._is_mirrored, self._monotonic = (
            store,
            keep_us,
            is_mirrored,
            monotonic,
        )
        self._next_s = 0.0
        self._let_go_at_s = monotonic() + _FIRST_LET_GO_S
        self._span_us = SLOT_US
        # How much is still to be rolled up; where that is much, how much it was, and was told last.
        self._behind_us = self._whole_us = self._told_us = 0
        self._is_refused = False

    def turn(self, now_us: int) -> None:
        """Take a step if one is due."""
        begun_s = self._monotonic()
        if begun_s < self._next_s:
            return
        self._next_s = begun_s + _LOOK_S
        try:
            if self.roll_up(now_us, self._span_us):
                self._adapt(begun_s)
            elif self._keep_us is not None and begun_s >= self._let_go_at_s:
                self._let_go_at_s = begun_s + _LET_GO_EVERY_S
                self.let_go(now_us - self._keep_us, _LET_GO_US)
        except StoreError as error:
            # The loop tells what a store that refuses means; nothing is lost by waiting.
            if not self._is_refused:
                _LOG.warning("the upkeep of the store waits: %s", error)
            self._is_refused = True
        else:
            self._is_refused = False

    def roll_up(self, now_us: int, span_us: int) -> bool:
        """Roll up a span of what is old enough in the grid that is behind most; whether there was any."""
        end_us = slot_of(now_us - SLOT_US)
        if self._store.rolled_up_to_us >= end_us:
            return False
        with self._store.transaction() as progress:
            behind = [(from_us, grid) for grid in GRIDS if (from_us := _next_us(progress, grid)) < end_us]
            if not behind:
                return False
            from_us, grid = min(behind, key=lambda one: one[0])
            progress.roll_up(grid, from_us, min(from_us + span_us, end_us))
            self._behind_us = max(0, end_us - from_us - span_us)
        return True

    def catch_up(self, now_us: int, tell: Callable[[int], object] = lambda _: None) -> None:
        """Roll up all that is old enough; `tell` is called with how much is still to do, microseconds."""
        while self.roll_up(now_us, DAY_US):
            tell(self._behind_us)

    def kept_from_us(self, now_us: int) -> int:
        """From when on history that is imported is kept as single readings.

        What is older becomes minutes and quarter hours alone, by `add_older`: no reading is here that is so
        old, but for those that outlived what was let go.
        """
        with self._store.transaction() as progress:
            from_us = progress.readings_from_us
            if self._keep_us is None:
                return from_us
            first_us = progress.next_reading_us(from_us)
        old_us = slot_of(now_us - self._keep_us)
        return max(from_us, old_us if first_us is None else min(old_us, first_us))

    def add_older(self, readings: Sequence[tuple[int, int, float, int]]) -> None:
        """Make minutes and quarter hours of readings from before `kept_from_us`, as if they had been let go.

        Each is series id, instant, value and flag; of a quarter of an hour all are to be there. Where it was
        known already, what was made of more readings stays.
        """
        with self._store.transaction() as progress:
            connection = self._store.connection
            connection.execute(_OLDER)
            connection.executemany("INSERT OR IGNORE INTO temp.older VALUES(?, ?, ?, ?)", readings)
            for grid in GRIDS:
                grid.add(connection, "temp.older")
            connection.execute("DELETE FROM temp.older")
            # No farther than they reach: by a clock that stands wrong the rest of time would be let go.
            last_us = max(at_us for _, at_us, _, _ in readings)
            progress.begin(slot_of(last_us) + SLOT_US)

    def let_go(self, before_us: int, span_us: int) -> int | None:
        """Let go of readings before an instant, of the oldest of them a span.

        Returns
        -------
        int or None
            How many went, 0 where all of the span must stay; None if there is nothing before the instant that
            may go yet.
        """
        store = self._store
        with store.transaction() as progress:
            first_us = progress.next_reading_us(progress.readings_from_us)
            if first_us is None:
                return None
            to_us = min(slot_of(before_us), progress.all_rolled_up_to_us, first_us + span_us)
            to_us = self._up_to_what_is_sent(to_us)
            if to_us <= first_us:
                return None
            count = 0
            for series, tank in store.connection.execute("SELECT id, tank FROM series").fetchall():
                near = near_incidents(store.connection, tank, first_us, to_us)
                for stretch in between(near, first_us, to_us):
                    store.connection.execute(f"DELETE FROM tests WHERE {_OF_STRETCH}", (series, *stretch))  # noqa: S608
                    count += store.connection.execute(
                        f"DELETE FROM readings WHERE {_OF_STRETCH}",  # noqa: S608 (a constant)
                        (series, *stretch),
                    ).rowcount
            progress.let_go(to_us, self._let_commits_go(progress.commits_from, to_us - _COMMITS_LATER_US))
        return count

    def _up_to_what_is_sent(self, to_us: int) -> int:
        if not self._is_mirrored:
            return to_us
        connection = self._store.connection
        for (series,) in connection.execute("SELECT id FROM series").fetchall():
            unsent_us = unmirrored_from_us(connection, series)
            if unsent_us is not None:
                to_us = min(to_us, slot_of(unsent_us))
        return to_us

    def _let_commits_go(self, begin: int, before_us: int) -> int:
        """Let go of commits before an instant of which nothing is left; return where the rest begins."""
        connection = self._store.connection
        found = connection.execute(
            "SELECT no, committed_us FROM commits WHERE no >= ? ORDER BY no LIMIT ?", (begin, _MOST_COMMITS)
        ).fetchall()
        old = [one for one in found if one[1] < before_us]
        if not old:
            return begin
        end = int(old[-1][0]) + 1
        around = min(at for _, at in old) - _COMMITS_LATER_US, max(at for _, at in old) + _COMMITS_LATER_US
        needed: set[tuple[int]] = set()
        for (series,) in connection.execute("SELECT id FROM series").fetchall():
            needed.update(
                connection.execute(
                    f"SELECT DISTINCT commit_no FROM readings WHERE {_OF_STRETCH}",  # noqa: S608
                    (series, *around),
                )
            )
        for table, column in _REFERRING:
            needed.update(
                connection.execute(
                    f"SELECT {column} FROM {table} WHERE {column} >= ? AND {column} < ?",  # noqa: S608
                    (begin, end),
                )
            )
        connection.executemany("DELETE FROM commits WHERE no = ?", {(number,) for number, _ in old} - needed)
        return end

    def _adapt(self, begun_s: float) -> None:
        """Choose when the next step comes and how large it is; say how far a long way has come."""
        taken_s = self._monotonic() - begun_s
        self._next_s = begun_s + min(_LOOK_S, _SHARE * taken_s)
        if self._behind_us == 0:
            if self._whole_us:
                _LOG.info("the rollups of the store are up to date")
            self._span_us, self._whole_us = SLOT_US, 0
            return
        self._span_us = max(SLOT_US, self._span_us // 2) if taken_s > _STEP_S else 2 * self._span_us
        if not self._whole_us and self._behind_us > DAY_US:
            self._whole_us = self._told_us = self._behind_us
            days = self._whole_us // DAY_US
            _LOG.info("rollups of %d days are made in the background, for charts of long spans", days)
        elif self._whole_us and self._told_us - self._behind_us > self._whole_us // 10:
            self._told_us = self._behind_us
            _LOG.info("rollups: %d %% done", 100 - 100 * self._behind_us // self._whole_us)


def _next_us(progress: Progress, grid: Grid) -> int:
    """Where a grid goes on; never where there is nothing more to roll up."""
    found = progress.next_reading_us(progress.rolled_up_to_us(grid))
    return _NEVER_US if found is None else found
