"""The columns of one file on their way to readings, with an account of what was left out."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from collector.configuration import Configuration, SeriesConfiguration
from collector.errors import BrinebellError, PayloadError
from collector.recordings.form import Converters, Form, States
from collector.recordings.instants import BoolArray, instants
from collector.recordings.recording import Recording, Skipped, join
from rules import FloatArray, IntArray

if TYPE_CHECKING:
    import pandas as pd

_TIME_COLUMNS = ("time", "timestamp", "observed_at")
_HEADER = re.compile(r"^\s*(?P<name>[^\[\]]+?)\s*(?:\[(?P<unit>[^\]]+)\]\s*)?$")
_LINES_SHOWN = 3
EMPTY = ("", "nan", "NaN", "NAN", "na", "NA", "null", "NULL", "None")


class Columns:
    """A table of readings, long (`series`, `value`, perhaps `unit`) or wide (one column a series).

    Parameters
    ----------
    path
        Named where something is left out.
    first_line, line
        Number of the line of row 0 of a table's index, and what a line is called there.
    """

    def __init__(
        self,
        path: Path,
        configuration: Configuration,
        converter: Converters,
        state: States,
        form: Form,
        *,
        first_line: int = 2,
        line: str = "line",
    ) -> None:
        self._path = path
        self._configuration = configuration
        self._converter = converter
        self._state = state
        self._form = form
        self._first_line, self._line = first_line, line
        self._lines: IntArray = np.empty(0, np.int64)
        self._bad_times: BoolArray = np.empty(0, bool)
        self._skipped: list[Skipped] = []

    def read(self, table: pd.DataFrame) -> Recording:
        """Its readings by time.

        Raises
        ------
        BrinebellError
            If it has no time column; bad rows are skipped and told instead.
        """
        self._lines = table.index.to_numpy() + self._first_line
        columns = {str(column).strip().lower(): column for column in table.columns}
        asked = self._form.time_column
        wanted = _TIME_COLUMNS if asked is None else (asked.strip().lower(),)
        time_column = next((columns[name] for name in wanted if name in columns), None)
        if time_column is None:
            raise BrinebellError(
                f"{self._path}: no time column among {', '.join(map(str, table.columns))}; "
                f"name one of them {' or '.join(wanted)}, or say which it is by --time-column"
            )
        times_us, self._bad_times = instants(table[time_column], self._form)
        self._tell_lines(
            np.flatnonzero(self._bad_times), f"time is not {self._form.wanted}", table[time_column]
        )
        if "series" in columns and "value" in columns:
            unit = columns.get("unit")
            parts = self._long(
                times_us,
                table[columns["series"]],
                table[columns["value"]],
                None if unit is None else table[unit],
            )
        else:
            parts = self._wide(times_us, table.drop(columns=time_column))
        if not parts:
            empty = np.empty(0, np.int64)
            return Recording(empty, np.empty(0), empty, tuple(self._skipped))
        whole = join(parts)
        return Recording(whole.times_us, whole.values, whole.series, tuple(self._skipped))

    def _long(
        self, times_us: IntArray, names: pd.Series, values: pd.Series, units: pd.Series | None
    ) -> list[Recording]:
        import pandas as pd

        parts = []
        codes, spellings = pd.factorize(names.astype(str))
        for code, name in enumerate(spellings):
            rows = np.flatnonzero(codes == code)
            index = self._series(str(name).strip(), len(rows))
            if index is None:
                continue
            if units is None:
                parts.append(self._part(times_us, values.iloc[rows], rows, index, self._declared(str(name))))
                continue
            # By way of Python's text: pandas of version 3 cuts it to one letter where numpy asks for "str".
            unit_of_rows = np.array([str(one) for one in units], str)[rows]
            for unit in np.unique(unit_of_rows):
                where = rows[unit_of_rows == unit]
                said = None if unit.strip().lower() in ("", "nan") else unit.strip()
                declared = said or self._declared(str(name))
                parts.append(self._part(times_us, values.iloc[where], where, index, declared))
        return parts

    def _wide(self, times_us: IntArray, table: pd.DataFrame) -> list[Recording]:
        parts = []
        rows = np.arange(len(table))
        for column in table.columns:
            match = _HEADER.match(str(column))
            name, unit = (match["name"], match["unit"]) if match else (str(column), None)
            index = self._series(name, int(table[column].notna().sum()))
            if index is not None:
                parts.append(self._part(times_us, table[column], rows, index, unit or self._declared(name)))
        return parts

    def _declared(self, name: str) -> str | None:
        return self._form.units.get(name.strip().lower())

    def _series(self, name: str, count: int) -> int | None:
        """Index of a series by `tank/name` or `name`; None, and told, where it is not configured."""
        series = self._configuration.series
        name = name.lower()
        full = [index for index, one in enumerate(series) if f"{one.tank}/{one.name}" == name]
        found = full or [index for index, one in enumerate(series) if one.name == name]
        if len(found) == 1:
            return found[0]
        reason = (
            "the configuration has no such series"
            if not found
            else f"several tanks have it; write {' or '.join(f'{series[i].tank}/{name}' for i in found)}"
        )
        self._skipped.append(Skipped(f"{self._path}: series {name!r}", reason, count))
        return None

    def _part(
        self, times_us: IntArray, column: pd.Series, rows: IntArray, index: int, unit: str | None
    ) -> Recording:
        series = self._configuration.series[index]
        values = self._numbers(column, rows, series)
        keep = np.isfinite(values) & ~self._bad_times[rows]
        converted = self._convert(values, keep, rows, series, unit)
        keep &= np.isfinite(converted)
        return Recording(times_us[rows[keep]], converted[keep], np.full(int(keep.sum()), index, np.int64))

    def _numbers(self, column: pd.Series, rows: IntArray, series: SeriesConfiguration) -> FloatArray:
        """Values as numbers, states by their words; NaN where there is none, and told where it is neither."""
        import pandas as pd

        if column.dtype.kind in "iuf":
            numbers: FloatArray = column.to_numpy(float)
            self._tell_values(rows[np.isinf(numbers)], series)
            return numbers
        texts = column.astype(object).map(_with_point)
        values: FloatArray = pd.to_numeric(texts, errors="coerce").to_numpy(float, copy=True)
        unread = np.flatnonzero(~np.isfinite(values))
        unknown = []
        for position in unread.tolist():
            text = str(column.iloc[position]).strip()
            if text in EMPTY or text == "<NA>":
                continue
            try:
                values[position] = self._state(text, series)
            except PayloadError:
                unknown.append(position)
        self._tell_values(rows[unknown], series)
        return values

    def _tell_values(self, rows: IntArray, series: SeriesConfiguration) -> None:
        self._tell_lines(rows[~self._bad_times[rows]], f"{series.name}: not a number", None)

    def _convert(
        self,
        values: FloatArray,
        keep: BoolArray,
        rows: IntArray,
        series: SeriesConfiguration,
        unit: str | None,
    ) -> FloatArray:
        """Values in canonical units; NaN, and told, where one cannot be converted."""
        converted = np.full(len(values), np.nan)
        try:
            convert = self._converter(unit, series)
        except PayloadError as error:
            self._skipped.append(Skipped(f"{self._path}: {series.name}", str(error), int(keep.sum())))
            return converted
        refused: dict[str, list[int]] = {}
        distinct, where = np.unique(values[keep], return_inverse=True)
        found = np.full(len(distinct), np.nan)
        # Probes show the same few hundred values again and again: each is converted once.
        for place, value in enumerate(distinct.tolist()):
            try:
                found[place] = convert(value)
            except PayloadError as error:
                refused.setdefault(str(error), []).extend(rows[keep][where == place].tolist())
        converted[keep] = found[where]
        for reason, lines in refused.items():
            self._tell_lines(sorted(lines), f"{series.name}: {reason}", None)
        return converted

    def _tell_lines(self, rows: Iterable[int] | IntArray, reason: str, shown: pd.Series | None) -> None:
        lines = [int(row) for row in rows]
        if not lines:
            return
        named = ", ".join(
            f"{self._lines[row]}" if shown is None else f"{self._lines[row]} ({str(shown.iloc[row])[:40]!r})"
            for row in lines[:_LINES_SHOWN]
        )
        more = "" if len(lines) <= _LINES_SHOWN else f" and {len(lines) - _LINES_SHOWN} more"
        self._skipped.append(Skipped(f"{self._path}: {self._line} {named}{more}", reason, len(lines)))


def _with_point(value: object) -> object:
    """A number that is written with a decimal comma with a point; a truth value as a word."""
    if isinstance(value, str):
        return value.replace(",", ".")
    return str(value) if isinstance(value, bool) else value
