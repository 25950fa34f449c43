"""Recordings written so that they read back the same: CSV, InfluxDB line protocol and Parquet.

All are in long form, a reading a line, with the unit beside it: the canonical one of its quantity.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple, Protocol, TypeAlias

import numpy as np

from collector.account import rfc3339
from collector.configuration import Configuration
from collector.errors import BrinebellError
from collector.recordings.recording import Recording
from rules import QUANTITIES

# Without a unit it would be read in the series' own.
_SPELLED = {"practical_salinity": "PSS-78"}
_HEADER = "time,series,value,unit\n"
_NANOSECONDS = 1000
# How readings wait to become Parquet, and how many of them then stand together.
_ROW = np.dtype([("time", "<i8"), ("series", "<i8"), ("value", "<f8")])
_ROW_GROUP = 1 << 17

_Lines: TypeAlias = Callable[[Recording], Iterator[str]]


class Named(NamedTuple):
    """A series as a file names it, and in which unit it is."""

    tank: str
    name: str
    unit: str


class Pieces(Protocol):
    """A form of file that is made of pieces, each of its own bytes, in order of time.

    `series` of a piece indexes the names of the file. The same pieces make the same file, byte for byte,
    whether they were put together at a stretch or not.
    """

    head: bytes

    def piece(self, readings: Recording) -> bytes:
        """What is to stand behind the head and the pieces before."""
        ...

    def made_of(self, part: Path) -> Path:
        """Make the file of head and pieces, which are in `part`: that one itself, or one beside it."""
        ...


def spelled_unit(quantity: str) -> str:
    """How the canonical unit of a quantity is written; "" where it has none."""
    return QUANTITIES[quantity] or _SPELLED.get(quantity, "")


def pieces_of(path: Path, names: Sequence[Named]) -> Pieces:
    """The form that the ending of a path says: .csv, .lp, both perhaps with .gz, or .parquet.

    Raises
    ------
    BrinebellError
        If it is another one, or what writes Parquet is not installed.
    """
    ending = path.suffix.lower()
    if ending == ".gz":
        ending = path.with_suffix("").suffix.lower() + ending
    if ending in (".csv", ".csv.gz"):
        return _Text(_HEADER, _csv_rows(names), is_packed=ending.endswith(".gz"))
    if ending in (".lp", ".lp.gz"):
        return _Text("", _points(names), is_packed=ending.endswith(".gz"))
    if ending == ".parquet":
        return _Parquet(path, names)
    raise BrinebellError(f"{path}: no such form; it must end in .csv, .csv.gz, .lp, .lp.gz or .parquet")


def csv_text(recording: Recording, configuration: Configuration) -> str:
    """The readings in long form, `time,series,value,unit`, one a line, in canonical units."""
    names = [Named(one.tank, one.name, spelled_unit(one.quantity)) for one in configuration.series]
    return _HEADER + "".join(_csv_rows(names)(recording))


class _Text:
    """Lines; packed, each piece is a gzip member of its own (RFC 1952, 2.2), which read as one file."""

    def __init__(self, head: str, lines: _Lines, *, is_packed: bool) -> None:
        self._lines, self._is_packed = lines, is_packed
        self.head = self._bytes(head)

    def piece(self, readings: Recording) -> bytes:
        """See `Pieces`."""
        return self._bytes("".join(self._lines(readings)))

    def made_of(self, part: Path) -> Path:
        """See `Pieces`."""
        return part

    def _bytes(self, text: str) -> bytes:
        if not text:
            return b""
        # Without the time of packing the same readings are the same bytes.
        return gzip.compress(text.encode(), mtime=0) if self._is_packed else text.encode()


def _csv_rows(names: Sequence[Named]) -> _Lines:
    series = [f"{one.tank}/{one.name}" for one in names]
    units = [one.unit for one in names]

    def lines(readings: Recording) -> Iterator[str]:
        for time_us, index, value in _rows(readings):
            yield f"{rfc3339(time_us)},{series[index]},{value!r},{units[index]}\n"

    return lines


def _points(names: Sequence[Named]) -> _Lines:
    keys = [_key(one) for one in names]

    def lines(readings: Recording) -> Iterator[str]:
        for time_us, index, value in _rows(readings):
            yield f"{keys[index]} value={value!r} {time_us * _NANOSECONDS}\n"

    return lines


def _key(one: Named) -> str:
    tags = {"series": one.name, "tank": one.tank, "unit": one.unit}
    return ",".join(["reading", *(f"{tag}={_escaped(text)}" for tag, text in tags.items() if text)])


def _escaped(text: str) -> str:
    return text.replace(",", r"\,").replace("=", r"\=").replace(" ", r"\ ")


class _Parquet:
    """A Parquet file ends with what tells where its parts are, so its pieces wait as bare columns."""

    head = b""

    def __init__(self, path: Path, names: Sequence[Named]) -> None:
        try:
            import pyarrow  # noqa: F401 - who lacks it hears of it now, and not at the end
            from pyarrow import parquet  # noqa: F401
        except ImportError as error:
            raise BrinebellError(
                f"{path}: writing Parquet needs pyarrow: pip install 'brinebell[parquet]', or write .csv.gz"
            ) from error
        self._names = [f"{one.tank}/{one.name}" for one in names]
        self._units = [one.unit for one in names]

    def piece(self, readings: Recording) -> bytes:
        """See `Pieces`."""
        rows = np.empty(len(readings), _ROW)
        rows["time"], rows["series"], rows["value"] = readings.times_us, readings.series, readings.values
        return rows.tobytes()

    def made_of(self, part: Path) -> Path:
        """See `Pieces`."""
        import pyarrow as pa
        from pyarrow import parquet

        word = pa.dictionary(pa.int32(), pa.string())
        schema = pa.schema(
            [("time", pa.timestamp("us", "UTC")), ("series", word), ("value", pa.float64()), ("unit", word)]
        )
        names, units = pa.array(self._names, pa.string()), pa.array(self._units, pa.string())
        made = part.with_name(f"{part.name}.made")
        with part.open("rb") as file, parquet.ParquetWriter(made, schema, compression="zstd") as out:
            while len(rows := np.fromfile(file, _ROW, _ROW_GROUP)):
                index = pa.array(rows["series"], pa.int32())
                columns = [
                    pa.array(rows["time"], pa.timestamp("us", "UTC")),
                    pa.DictionaryArray.from_arrays(index, names),
                    pa.array(rows["value"], pa.float64()),
                    pa.DictionaryArray.from_arrays(index, units),
                ]
                out.write_table(pa.table(columns, schema=schema))
        return made


def _rows(piece: Recording) -> zip[tuple[int, int, float]]:
    return zip(piece.times_us.tolist(), piece.series.tolist(), piece.values.tolist(), strict=True)
