"""One series over time, as numpy columns: its readings, and buckets of them for charts.

`readings` and `buckets` are what the file has, at once. `all_readings` and `chart` are for who waits for an
answer: they ask an older record, if there is one, for what the file has no more, and say what is missing yet.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import NamedTuple, Protocol

import numpy as np

from collector.errors import DatabaseError
from collector.store import rollups
from collector.store.keeping import between, near_incidents
from collector.store.rollups import Buckets
from rules import FlagArray, FloatArray, IntArray

# Charts of a longer range are drawn from rollups: two days of readings every 10 s are 17,280, read in
# some 10 ms; a year of them would take seconds and show no more.
RAW_SPAN_US = 2 * 86_400_000_000

# As long as limits are tried on: a chart of what was here before the store has no rollups to be drawn from.
_MOST_ASKED_US = 8 * 86_400_000_000

_READING = np.dtype([("time", "i8"), ("value", "f8"), ("flag", "u1")])
_NEVER_US = 2**63 - 1
_LEFT_OUT = "Older readings are left out, because the database does not give them"
_MINUTES = "Drawn from minutes, because the database does not give the readings"


class Readings(NamedTuple):
    """Columns of shape (n,), in order of time: instants, values (NaN: not measured), primary flags."""

    times_us: IntArray
    values: FloatArray
    flags: FlagArray

    def part(self, cut: slice) -> Readings:
        """Some of them, by place."""
        return Readings(self.times_us[cut], self.values[cut], self.flags[cut])


class Older(Protocol):
    """Another record of the same series that goes farther back."""

    def readings(self, tank: str, series: str, start_us: int, end_us: int) -> Readings:
        """The readings of a series in a half-open range, in order of time.

        Raises
        ------
        DatabaseError
            If it cannot be asked, or does not answer in time.
        """
        ...


class SeriesColumns:
    """Queries for one series, on a connection that the subclass opens; `series` is its id."""

    _connection: sqlite3.Connection
    _older: Older | None

    def readings(self, series: int, start_us: int, end_us: int) -> Readings:
        """Every reading of a series in a range, whatever its flag."""
        rows = np.fromiter(
            self._connection.execute(
                "SELECT observed_us, value, flag_mark & 15 FROM readings"
                " WHERE series = ? AND observed_us >= ? AND observed_us < ? ORDER BY observed_us",
                (series, start_us, end_us),
            ),
            dtype=_READING,
        )
        return Readings(rows["time"], rows["value"], rows["flag"])

    def count(self, series: int, start_us: int, end_us: int) -> int:
        """How many readings of a series are in a range, whatever they say."""
        row = self._connection.execute(
            "SELECT count(*) FROM readings WHERE series = ? AND observed_us >= ? AND observed_us < ?",
            (series, start_us, end_us),
        ).fetchone()
        return int(row[0])

    @property
    def readings_from_us(self) -> int:
        """As `Store.readings_from_us`."""
        return self._progress("readings_from_us")

    @property
    def has_older(self) -> bool:
        """Whether there is an older record."""
        return self._older is not None

    def is_whole(self, series: int, start_us: int, end_us: int) -> bool:
        """Whether every reading of a range that there ever was is here."""
        return not self._gaps(series, start_us, end_us)

    def first_observed_us(self, series: int) -> int | None:
        """The instant of the oldest reading of a series that is still here; None if there is none."""
        row = self._connection.execute(
            "SELECT min(observed_us) FROM readings WHERE series = ?", (series,)
        ).fetchone()
        return None if row[0] is None else int(row[0])

    def buckets(self, series: int, start_us: int, end_us: int, count: int) -> Buckets:
        """Low, mean and high of the usable values of a series in at most `count` buckets.

        Up to two days exactly `count` buckets are made from the readings, or from the minutes where readings
        were let go, and begin at `start_us`. A longer range is made from quarter-hour rollups, or, where the
        buckets asked for are less than half as wide, from those of minutes: buckets are then whole slots,
        begin at the one that holds `start_us`, and the last may reach beyond `end_us`.

        Raises
        ------
        ValueError
            If the range is empty or `count` is not positive.
        """
        if start_us >= end_us or count < 1:
            raise ValueError(f"no buckets: {count} of the range {start_us}..{end_us}")
        if end_us - start_us <= RAW_SPAN_US:
            readings = self.readings(series, start_us, end_us)
            if start_us >= self.readings_from_us:
                return rollups.buckets_of_readings(start_us, end_us, count, *readings)
            return self._finest(series, start_us, end_us, count, readings)
        grid = rollups.QUARTERS
        if 2 * (end_us - start_us) < count * grid.width_us:
            # While an older store is being filled, quarter hours have to do: they are there.
            behind_us = self._progress(rollups.QUARTERS.to) - self._progress(rollups.MINUTES.to)
            grid = grid if behind_us > RAW_SPAN_US else rollups.MINUTES
        places = rollups.rollup_grid(start_us, end_us, count, grid.width_us)
        to_us = rollups.whole(end_us, grid.width_us)
        return rollups.buckets_of_rows(places, grid.rows(self._connection, series, places[0], to_us))

    def all_readings(self, series: int, start_us: int, end_us: int) -> tuple[Readings, str]:
        """Every reading of a series in a range, and a sentence about what is missing; "" if nothing is.

        The older record is asked for what lies before the first reading of the series here, and for what was
        let go. Where both have a reading, the one here counts.
        """
        try:
            return self.every_reading(series, start_us, end_us)
        except DatabaseError as error:
            return self.readings(series, start_us, end_us), f"{_LEFT_OUT}: {error}"

    def chart(self, series: int, start_us: int, end_us: int, count: int) -> tuple[Buckets, str]:
        """As `buckets`, of all readings where minutes do not do; and what is missing, as `all_readings` says.

        Minutes do not do where the buckets are narrower, and before the first one.
        """
        found = self.buckets(series, start_us, end_us, count)
        if self._older is None or end_us - start_us > _MOST_ASKED_US:
            return found, ""
        is_fine = end_us - start_us < count * rollups.MINUTE_US
        if not is_fine and start_us >= self.begins_us(series):
            return found, ""
        if not self._gaps(series, start_us, end_us):
            return found, ""
        try:
            readings, lack = self.every_reading(series, start_us, end_us)
        except DatabaseError as error:
            if start_us >= self.begins_us(series):
                return found, f"{_MINUTES}: {error}"
            return found, f"{_LEFT_OUT}: {error}"
        return self._finest(series, start_us, end_us, count, readings), lack

    def every_reading(self, series: int, start_us: int, end_us: int) -> tuple[Readings, str]:
        """As `all_readings`, for who would rather have nothing than less.

        Raises
        ------
        DatabaseError
            If the older record does not give what it is asked for.
        """
        found = self.readings(series, start_us, end_us)
        # Behind them: what is let go meanwhile is either here or in a gap.
        gaps = self._gaps(series, start_us, end_us)
        if not gaps:
            return found, ""
        if self._older is not None:
            name = self._named(series)
            found = _merged([found, *(self._older.readings(*name, *gap) for gap in gaps)])
        return found, self._shortfall(series, gaps, found)

    def _finest(self, series: int, start_us: int, end_us: int, count: int, readings: Readings) -> Buckets:
        """Buckets of readings, or of minutes where those know of more."""
        first_us = rollups.whole(start_us, rollups.MINUTE_US)
        rows = rollups.MINUTES.rows(self._connection, series, first_us, end_us)
        return rollups.finer_buckets(start_us, end_us, count, readings, rows)

    def _named(self, series: int) -> tuple[str, str]:
        """Its tank and its name."""
        row = self._connection.execute("SELECT tank, name FROM series WHERE id = ?", (series,)).fetchone()
        return str(row[0]), str(row[1])

    def begins_us(self, series: int) -> int:
        """Where the readings of a series, or what is rolled up of them, begin here; far ahead if nowhere."""
        row = self._connection.execute(
            "SELECT min(slot_us) FROM rollups WHERE series = ?", (series,)
        ).fetchone()
        first_us = self.first_observed_us(series)
        return min(_NEVER_US if at_us is None else at_us for at_us in (row[0], first_us))

    def _gaps(self, series: int, start_us: int, end_us: int) -> list[tuple[int, int]]:
        """Stretches of a range of which single readings may be at the older record alone."""
        first_us = self.first_observed_us(series)
        # Before it there is nothing here at all; where nobody else can be asked, there never was.
        begin_us = _NEVER_US if first_us is None else first_us
        if self._older is None:
            begin_us = start_us
        to_us = min(end_us, max(begin_us, self.readings_from_us))
        if start_us >= to_us:
            return []
        tank, _ = self._named(series)
        kept = [
            (max(from_us, begin_us), until_us)
            for from_us, until_us in near_incidents(self._connection, tank, start_us, to_us)
            if until_us > begin_us
        ]
        return list(between(kept, start_us, to_us))

    def _shortfall(self, series: int, gaps: Sequence[tuple[int, int]], found: Readings) -> str:
        """Hold what was found against the minutes, which were made before readings were let go."""
        let_go_us, width_us = self.readings_from_us, rollups.MINUTE_US
        times_us = found.times_us[rollups.is_usable(found.values, found.flags)]
        rolled = there = 0
        for from_us, to_us in gaps:
            # Whole minutes alone: of the others it is not known what lies in the gap.
            first, last = -(-from_us // width_us), min(to_us, let_go_us) // width_us
            if first < last:
                (count,) = self._connection.execute(
                    "SELECT ifnull(sum(count), 0) FROM minutes"
                    " WHERE series = ? AND minute >= ? AND minute < ?",
                    (series, first, last),
                ).fetchone()
                rolled += int(count)
                places = np.searchsorted(times_us, [first * width_us, last * width_us])
                there += int(places[1] - places[0])
        if there >= rolled:
            return ""
        if self._older is None:
            return (
                "Not every reading of this time is kept any more (service.keep_readings), and no database "
                "is configured that may have them"
            )
        return f"Of {rolled:,} readings of this time that the store has let go the database has {there:,}"

    def _progress(self, what: str) -> int:
        """How far the upkeep has come in something; 0 if it has not begun."""
        row = self._connection.execute("SELECT value FROM upkeep WHERE what = ?", (what,)).fetchone()
        return 0 if row is None else int(row[0])


def _merged(parts: Sequence[Readings]) -> Readings:
    """All of them in order of time; of one instant the first."""
    times, values, flags = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    times, order = np.unique(times, return_index=True)
    return Readings(times, values[order], flags[order])
