"""CSV recordings, long (`time,series,value`) or wide (`time` and one column a series), also gzipped.

Times are RFC 3339 with an offset, or Unix seconds. A series is named `tank/name`, or `name` alone where
only one tank has it, in any case. Values are taken as if they arrived: in the series' own unit, unless
the file says otherwise in brackets behind a wide column's name (`temperature [degF]`), or in a `unit`
column of a long file.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from collector.configuration import Configuration, SeriesConfiguration
from collector.errors import BrinebellError, PayloadError
from collector.recordings.recording import Recording, Skipped, join
from rules import MICROSECONDS, FloatArray, IntArray

if TYPE_CHECKING:
    import pandas as pd

# unit spelling or None, series -> how its values become canonical ones (NumPy arrays or numbers)
Converters = Callable[[str | None, SeriesConfiguration], Callable[[float], float]]
# word, series -> 0.0 or 1.0
States = Callable[[str, SeriesConfiguration], float]

_TIME_COLUMNS = ("time", "timestamp", "observed_at")
_HEADER = re.compile(r"^\s*(?P<name>[^\[\]]+?)\s*(?:\[(?P<unit>[^\]]+)\]\s*)?$")
_OFFSET = re.compile(r"(?:[zZ]|[+-]\d\d:\d\d)$")
_LINES_SHOWN = 3
# Unix seconds of the years 1 to 9999, which calendars and RFC 3339 can name: milliseconds are far beyond.
_FIRST_S, _END_S = -62_135_596_800, 253_402_300_800


def read_csv(path: Path, configuration: Configuration, converter: Converters, state: States) -> Recording:
    """Read one CSV file.

    Raises
    ------
    BrinebellError
        If the file cannot be read or has no time column; bad rows are skipped and told instead.
    """
    import pandas as pd

    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False, skipinitialspace=True, comment="#")
    except (OSError, ValueError, UnicodeDecodeError) as error:
        raise BrinebellError(f"{path}: cannot be read as CSV: {error}") from error
    columns = {str(column).strip().lower(): str(column) for column in table.columns}
    time_column = next((columns[name] for name in _TIME_COLUMNS if name in columns), None)
    if time_column is None:
        raise BrinebellError(
            f"{path}: no time column among {', '.join(map(str, table.columns))}; "
            f"name one of them {' or '.join(_TIME_COLUMNS)}"
        )
    times_us, bad_times = _times(table[time_column])
    parser = _Parser(path, configuration, converter, state)
    parser.tell_rows(bad_times, "time is not RFC 3339 with an offset, nor Unix seconds", table[time_column])
    if "series" in columns and "value" in columns:
        parts = parser.long(
            times_us, table[columns["series"]], table[columns["value"]], table.get(columns.get("unit", ""))
        )
    else:
        parts = parser.wide(times_us, table.drop(columns=time_column))
    if not parts:
        return Recording(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int64), tuple(parser.skipped))
    whole = join(parts)
    return Recording(whole.times_us, whole.values, whole.series, tuple(parser.skipped))


def _times(column: pd.Series[str]) -> tuple[IntArray, npt.NDArray[np.bool_]]:
    """Microseconds since 1970 UTC and which rows have none; each spelling is parsed once."""
    import pandas as pd

    codes, spellings = pd.factorize(column)
    texts = [str(spelling).strip() for spelling in spellings]
    numbers = pd.to_numeric(pd.Series(texts, dtype=object), errors="coerce").to_numpy(float)
    zoned = [text if _OFFSET.search(text) else None for text in texts]
    stamps = pd.to_datetime(pd.Series(zoned, dtype=object), utc=True, format="ISO8601", errors="coerce")
    known = stamps.notna().to_numpy()
    values = np.zeros(len(texts), np.int64)
    values[known] = stamps[known].dt.as_unit("us").astype(np.int64).to_numpy()
    plain = (numbers >= _FIRST_S) & (numbers < _END_S) & ~known
    values[plain] = np.round(numbers[plain] * MICROSECONDS).astype(np.int64)
    return values[codes], ~(known | plain)[codes]


class _Parser:
    """One file's columns on their way to readings, with an account of what was left out."""

    def __init__(
        self, path: Path, configuration: Configuration, converter: Converters, state: States
    ) -> None:
        self._path = path
        self._configuration = configuration
        self._converter = converter
        self._state = state
        self._bad_times: npt.NDArray[np.bool_] = np.empty(0, bool)
        self.skipped: list[Skipped] = []

    def tell_rows(self, bad: npt.NDArray[np.bool_], reason: str, shown: pd.Series[str]) -> None:
        """Tell of bad rows by line number; the header is line 1."""
        self._bad_times = bad
        self._tell_lines(np.flatnonzero(bad), reason, shown)

    def long(
        self,
        times_us: IntArray,
        names: pd.Series[str],
        values: pd.Series[str],
        units: pd.Series[str] | None,
    ) -> list[Recording]:
        """Readings of a long file."""
        parts = []
        for name, rows in names.groupby(names).indices.items():
            index = self._series(str(name).strip(), len(rows))
            if index is None:
                continue
            unit_of_rows = np.full(len(rows), "") if units is None else units.to_numpy(str)[rows]
            for unit in np.unique(unit_of_rows):
                where = np.asarray(rows)[unit_of_rows == unit]
                parts.append(
                    self._part(times_us, values.iloc[where], where, index, str(unit).strip() or None)
                )
        return parts

    def wide(self, times_us: IntArray, table: pd.DataFrame) -> list[Recording]:
        """Readings of a wide file."""
        parts = []
        rows = np.arange(len(table))
        for column in table.columns:
            match = _HEADER.match(str(column))
            name, unit = (match["name"], match["unit"]) if match else (str(column), None)
            index = self._series(name, int((table[column] != "").sum()))
            if index is not None:
                parts.append(self._part(times_us, table[column], rows, index, unit))
        return parts

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
        self.skipped.append(Skipped(f"{self._path}: series {name!r}", reason, count))
        return None

    def _part(
        self, times_us: IntArray, texts: pd.Series[str], rows: IntArray, index: int, unit: str | None
    ) -> Recording:
        import pandas as pd

        series = self._configuration.series[index]
        values = pd.to_numeric(texts, errors="coerce").to_numpy(float, copy=True)
        unread = np.flatnonzero(~np.isfinite(values))
        empty = []
        for position in unread.tolist():
            text = str(texts.iloc[position]).strip()
            if text.lower() in ("", "nan", "na", "null"):
                empty.append(position)
                continue
            try:
                values[position] = self._state(text, series)
            except PayloadError:
                continue
        bad = np.flatnonzero(~np.isfinite(values) & ~self._bad_times[rows])
        self._tell_lines(rows[np.setdiff1d(bad, empty)], f"{series.name}: not a number", None)
        keep = np.isfinite(values) & ~self._bad_times[rows]
        converted = self._convert(values, keep, rows, series, unit)
        keep &= np.isfinite(converted)
        return Recording(times_us[rows[keep]], converted[keep], np.full(int(keep.sum()), index, np.int64))

    def _convert(
        self,
        values: FloatArray,
        keep: npt.NDArray[np.bool_],
        rows: IntArray,
        series: SeriesConfiguration,
        unit: str | None,
    ) -> FloatArray:
        """Values in canonical units; NaN, and told, where one cannot be converted."""
        converted = np.full(len(values), np.nan)
        try:
            convert = self._converter(unit, series)
        except PayloadError as error:
            self.skipped.append(Skipped(f"{self._path}: {series.name}", str(error), int(keep.sum())))
            return converted
        refused: dict[str, list[int]] = {}
        for position in np.flatnonzero(keep).tolist():
            try:
                converted[position] = convert(float(values[position]))
            except PayloadError as error:
                refused.setdefault(str(error), []).append(int(rows[position]))
        for reason, lines in refused.items():
            self._tell_lines(lines, f"{series.name}: {reason}", None)
        return converted

    def _tell_lines(self, rows: Iterable[int] | IntArray, reason: str, shown: pd.Series[str] | None) -> None:
        lines = [int(row) for row in rows]
        if not lines:
            return
        named = ", ".join(
            f"{row + 2}" if shown is None else f"{row + 2} ({str(shown.iloc[row])[:40]!r})"
            for row in lines[:_LINES_SHOWN]
        )
        more = "" if len(lines) <= _LINES_SHOWN else f" and {len(lines) - _LINES_SHOWN} more"
        self.skipped.append(Skipped(f"{self._path}: line {named}{more}", reason, len(lines)))
