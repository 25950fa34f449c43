"""What the store knows, as numpy columns and frozen values, over a read-only connection of its own.

Pages, replay and restart read through this; a reader never makes the writer wait. History of alarms,
incidents and deliveries is in `collector.store.history`, which `StoreReader` includes.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from collector.errors import StoreError
from collector.readings import Mark
from collector.store.care import Care
from collector.store.columns import Older, SeriesColumns
from collector.store.commit import BoardState
from collector.store.history import History
from collector.store.mirror_state import MirrorState, RefusedPoints, mirror_state, refused_points
from collector.store.schema import CURRENT_VERSION, version_of
from rules import Block, PlannedWork

# Above the number of any commit.
_NO_COMMIT = 2**63 - 1

_RECORDED = np.dtype([("commit", "i8"), ("time", "i8"), ("value", "f8"), ("series", "i8"), ("mark", "u1")])


class StoredSeries(NamedTuple):
    """A series and its id in the store."""

    id: int
    tank: str
    name: str
    quantity: str


class LatestReading(NamedTuple):
    """The newest reading of a series; `value` is None where nothing was measured."""

    series: StoredSeries
    observed_us: int
    value: float | None
    flag: int
    mark: int


@dataclass(frozen=True, slots=True)
class RecordedBlock:
    """What the engine was given in one commit.

    Parameters
    ----------
    number
        Of the commit.
    committed_us
        When, by the service's clock.
    ticked_us
        The instant to which time alone had brought the engine before the block; None if it had not.
    engine_us
        The instant to which it was advanced after the block; None while a backlog was taken in.
    block
        Readings in order of (observed_us, series).
    marks
        Shape (n,): `collector.readings.Mark` of each.
    boards
        Boards that came or went.
    planned_work
        All works that were known from this commit on; None where that had not changed.
    """

    number: int
    committed_us: int
    ticked_us: int | None
    engine_us: int | None
    block: Block
    marks: npt.NDArray[np.uint8]
    boards: tuple[BoardState, ...]
    planned_work: tuple[PlannedWork, ...] | None = None


class StoreReader(SeriesColumns, History, Care):
    """The store, read only; usable from any number of threads, while the writer writes.

    Ranges are half open: `start_us` belongs to them, `end_us` does not. `series` is an id in the store,
    see `series_id`.

    Parameters
    ----------
    path
        The database file.
    older
        Who is asked for readings that the store has no more, by `all_readings` and `chart` alone.

    Raises
    ------
    StoreError
        If there is no store at the path yet, or it is of another version.
    """

    def __init__(self, path: Path, older: Older | None = None) -> None:
        self._older = older
        self.path = path = Path(path)
        if not path.is_file():
            raise StoreError(f"there is no store at {path} yet: `brinebell run` makes it")
        try:
            # A statement taken from Python's cache by two threads at once is misused (seen from Python 3.12
            # on); each query having its own, SQLite's serialised mode makes one connection safe for all.
            connection = sqlite3.connect(
                f"{path.resolve().as_uri()}?mode=ro",
                uri=True,
                isolation_level=None,
                check_same_thread=False,
                cached_statements=0,
            )
            try:
                version = version_of(connection)
                if version < CURRENT_VERSION:
                    raise StoreError(
                        f"{path} has store version {version}, this Brinebell reads "
                        f"{CURRENT_VERSION}: start `brinebell run` once, which brings it up"
                    )
            except BaseException:
                connection.close()
                raise
        except sqlite3.Error as error:
            raise StoreError(f"{path} cannot be read: {error}") from error
        super().__init__(connection)

    def __enter__(self) -> StoreReader:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def series_list(self) -> tuple[StoredSeries, ...]:
        """All series that were ever registered, in order of tank and name."""
        rows = self._connection.execute("SELECT id, tank, name, quantity FROM series ORDER BY tank, name")
        return tuple(StoredSeries(*row) for row in rows)

    def series_id(self, tank: str, name: str) -> int:
        """Id of a series; KeyError if it was never registered."""
        row = self._connection.execute(
            "SELECT id FROM series WHERE tank = ? AND name = ?", (tank, name)
        ).fetchone()
        if row is None:
            raise KeyError(f"{tank}/{name}")
        return int(row[0])

    def tests(self, series: int, start_us: int, end_us: int) -> dict[int, int]:
        """Packed per-test flags of the readings in a range that did not pass throughout, by instant."""
        return dict(
            self._connection.execute(
                "SELECT observed_us, packed FROM tests"
                " WHERE series = ? AND observed_us >= ? AND observed_us < ?",
                (series, start_us, end_us),
            )
        )

    def latest(self) -> tuple[LatestReading, ...]:
        """The newest reading of every series that has one."""
        found = []
        for series in self.series_list():
            row = self._connection.execute(
                "SELECT observed_us, value, flag_mark & 15, flag_mark >> 4 FROM readings"
                " WHERE series = ? ORDER BY observed_us DESC LIMIT 1",
                (series.id,),
            ).fetchone()
            if row is not None:
                found.append(LatestReading(series, *row))
        return tuple(found)

    def note(self, key: str) -> str | None:
        """A remembered fact about the world, as `Store.note`."""
        row = self._connection.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
        return None if row is None else str(row[0])

    @property
    def last_engine_us(self) -> int | None:
        """The instant to which the engine was last advanced outside a backlog; None if never."""
        row = self._connection.execute(
            "SELECT committed_us - engine_lag_us FROM commits WHERE engine_lag_us IS NOT NULL"
            " ORDER BY no DESC LIMIT 1"
        ).fetchone()
        return None if row is None else int(row[0])

    @property
    def last_commit_us(self) -> int | None:
        """When the last commit was made; None if there is none."""
        row = self._connection.execute("SELECT committed_us FROM commits ORDER BY no DESC LIMIT 1").fetchone()
        return None if row is None else int(row[0])

    @property
    def first_commit_us(self) -> int | None:
        """When the first commit was made; None if there is none."""
        row = self._connection.execute("SELECT committed_us FROM commits ORDER BY no LIMIT 1").fetchone()
        return None if row is None else int(row[0])

    @property
    def extent_us(self) -> tuple[int, int] | None:
        """The instants of the first and the last reading; None if there is none."""
        found = [
            self._connection.execute(
                "SELECT min(observed_us), max(observed_us) FROM readings WHERE series = ?", (one.id,)
            ).fetchone()
            for one in self.series_list()
        ]
        ends = [(first, last) for first, last in found if first is not None]
        return (min(ends)[0], max(last for _, last in ends)) if ends else None

    def has_readings(self, series: int, start_us: int, end_us: int) -> bool:
        """Whether a series has any reading in a range."""
        return bool(
            self._connection.execute(
                "SELECT EXISTS(SELECT 1 FROM readings"
                " WHERE series = ? AND observed_us >= ? AND observed_us < ?)",
                (series, start_us, end_us),
            ).fetchone()[0]
        )

    def mirror_state(self) -> MirrorState | None:
        """How far the time-series database has come; None if none has ever been configured."""
        return mirror_state(self._connection)

    def refused_points(self) -> tuple[RefusedPoints, ...]:
        """What the time-series database refused, by series and reason, the most first."""
        return refused_points(self._connection)

    def recorded_blocks(self, series: Sequence[int], from_us: int) -> Iterator[RecordedBlock]:
        """What the engine was given, commit by commit, in the order in which it was.

        What was imported is not in it.

        Parameters
        ----------
        series
            Ids in the store; a block's series index is the position in this. Others are left out.
        from_us
            What was observed before it is left out, and commits before the first one with anything later.

        Notes
        -----
        Held in memory at once, 33 bytes a reading: for a restart's look-back, not for years.
        """
        # One read transaction, so that a commit between two queries is seen by all or none.
        self._connection.execute("SAVEPOINT recorded")
        try:
            parts = [
                np.fromiter(
                    self._connection.execute(
                        "SELECT commit_no, observed_us, value, ?, flag_mark >> 4 FROM readings"
                        " WHERE series = ? AND observed_us >= ? AND flag_mark >> 4 & ? = 0",
                        (index, one, from_us, int(Mark.IMPORTED)),
                    ),
                    dtype=_RECORDED,
                )
                for index, one in enumerate(series)
            ]
            rows = np.concatenate(parts) if parts else np.empty(0, _RECORDED)
            (first,) = self._connection.execute(
                "SELECT ifnull(min(commit_no), ?) FROM boards WHERE since_us >= ?", (_NO_COMMIT, from_us)
            ).fetchone()
            if len(rows):
                first = min(first, int(rows["commit"].min()))
            works = self._connection.execute(
                "SELECT commit_no, ifnull(withdrawn_no, ?), tank, kind, from_us, to_us FROM planned_work"
                " WHERE withdrawn_no IS NULL OR withdrawn_no > ? ORDER BY id",
                (_NO_COMMIT, first),
            ).fetchall()
            if works and first == _NO_COMMIT:
                (first,) = self._connection.execute("SELECT max(no) FROM commits").fetchone()
            commits = self._connection.execute(
                "SELECT no, committed_us, committed_us - tick_lag_us, committed_us - engine_lag_us"
                " FROM commits WHERE no >= ? ORDER BY no",
                (first,),
            ).fetchall()
            changes = self._connection.execute(
                "SELECT commit_no, tank, name, is_online, since_us FROM boards"
                " WHERE commit_no >= ? ORDER BY id",
                (first,),
            ).fetchall()
        finally:
            self._connection.execute("RELEASE recorded")
        del parts
        boards: dict[int, list[BoardState]] = {}
        for number, tank, name, is_online, since_us in changes:
            boards.setdefault(number, []).append(BoardState(tank, name, bool(is_online), since_us))
        changed = {number for known_no, gone_no, *_ in works for number in (known_no, gone_no)}
        rows = rows[np.lexsort((rows["series"], rows["time"], rows["commit"]))]
        numbers = np.array([number for number, *_ in commits], np.int64)
        begins = np.searchsorted(rows["commit"], numbers, "left").tolist()
        ends = np.searchsorted(rows["commit"], numbers, "right").tolist()
        times, values, index, marks = (
            np.ascontiguousarray(rows[name]) for name in ("time", "value", "series", "mark")
        )
        for (number, committed_us, ticked_us, engine_us), begin, end in zip(
            commits, begins, ends, strict=True
        ):
            cut = slice(begin, end)
            block = Block(times[cut], values[cut], index[cut])
            planned = None
            # The first commit brings what was known before it.
            if works and (number in changed or number == commits[0][0]):
                planned = tuple(PlannedWork(*work) for known, gone, *work in works if known <= number < gone)
            yield RecordedBlock(
                number,
                committed_us,
                ticked_us,
                engine_us,
                block,
                marks[cut],
                tuple(boards.get(number, ())),
                planned,
            )
