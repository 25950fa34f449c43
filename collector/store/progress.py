"""How far the upkeep of the store has come: what is rolled up, and from when on readings are still there.

Rollups are made a quarter of an hour behind time, not with every commit: that halves the pages which a commit
writes. From then on they are kept in step, for a late reading or a revised flag has its stretch made
anew in the same transaction. A store of an older version is filled by the same way: it is behind.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

from collector.store.rollups import GRIDS, Grid, slot_of, stretches

_READINGS_FROM = "readings_from_us"
_COMMITS_FROM = "commits_from"


class Progress:
    """The rows of `upkeep`, held in memory by the one who writes.

    Parameters
    ----------
    connection
        Of the store; methods that write run inside the caller's transaction, and `reload` undoes what they
        noted here when that was rolled back.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._known: dict[str, int] = {}
        self.reload()

    def reload(self) -> None:
        """Read what is in the file."""
        self._known = dict(self._connection.execute("SELECT what, value FROM upkeep"))
        self._newest_us = max(self.rolled_up_to_us(grid) for grid in GRIDS)

    def rolled_up_to_us(self, grid: Grid) -> int:
        """The instant up to which every reading is in its slot; 0 if none is."""
        return self._known.get(grid.to, 0)

    @property
    def all_rolled_up_to_us(self) -> int:
        """The same of all grids."""
        return min(self.rolled_up_to_us(grid) for grid in GRIDS)

    @property
    def readings_from_us(self) -> int:
        """What was observed before it may have been let go; 0 while nothing was."""
        return self._known.get(_READINGS_FROM, 0)

    @property
    def commits_from(self) -> int:
        """The first commit was never let go, and of those after it none from this number on."""
        return self._known.get(_COMMITS_FROM, 2)

    def roll_up(self, grid: Grid, from_us: int, to_us: int) -> None:
        """Bring the slots of all series up to an instant; both are starts of quarter hours.

        There is no reading between where they end and `from_us`.
        """
        for (series,) in self._connection.execute("SELECT id FROM series").fetchall():
            grid.roll(self._connection, series, from_us, to_us)
        self._note(grid.to, to_us)

    def let_go(self, readings_from_us: int, commits_from: int) -> None:
        """Note what is not there any more."""
        self._note(_READINGS_FROM, readings_from_us)
        self._note(_COMMITS_FROM, commits_from)

    def begin(self, readings_from_us: int) -> None:
        """Note that what was observed before an instant counts as let go: not one reading of it is here."""
        for grid in GRIDS:
            self._note(grid.to, max(self.rolled_up_to_us(grid), readings_from_us))
        self._note(_READINGS_FROM, max(self.readings_from_us, readings_from_us))

    def roll_anew(self, keys: Iterable[tuple[int, int]]) -> None:
        """Make the slots of (series, observed_us) anew as far as they were made.

        Where readings were let go the slots hold more than what is left, and stay as they are.
        """
        newest_us, kept_us = self._newest_us, self.readings_from_us
        old = [key for key in keys if kept_us <= key[1] < newest_us]
        if not old:
            return
        for series, from_us, to_us in stretches(old):
            for grid in GRIDS:
                end_us = min(to_us, self.rolled_up_to_us(grid))
                if from_us < end_us:
                    grid.roll(self._connection, series, from_us, end_us)

    def next_reading_us(self, from_us: int) -> int | None:
        """The quarter hour of the first reading then or later; None if there is none."""
        found = [
            self._connection.execute(
                "SELECT min(observed_us) FROM readings WHERE series = ? AND observed_us >= ?",
                (series, from_us),
            ).fetchone()[0]
            for (series,) in self._connection.execute("SELECT id FROM series").fetchall()
        ]
        return min((slot_of(at_us) for at_us in found if at_us is not None), default=None)

    def _note(self, what: str, value: int) -> None:
        self._connection.execute("INSERT OR REPLACE INTO upkeep VALUES(?, ?)", (what, value))
        self._known[what] = value
        self._newest_us = max(self.rolled_up_to_us(grid) for grid in GRIDS)
