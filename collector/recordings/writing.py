"""Recordings written so that they read back the same: CSV, InfluxDB line protocol and Parquet.

All are in long form, a reading a line, with the unit beside it: the canonical one of its quantity.
"""

from __future__ import annotations

import gzip
import io
from collections.abc import Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, NamedTuple, Protocol

from collector.account import rfc3339
from collector.configuration import Configuration
from collector.errors import BrinebellError
from collector.recordings.recording import Recording
from rules import QUANTITIES

if TYPE_CHECKING:
    import pyarrow as pa

# Without a unit it would be read in the series' own.
_SPELLED = {"practical_salinity": "PSS-78"}
_HEADER = "time,series,value,unit\n"
_NANOSECONDS = 1000


class Named(NamedTuple):
    """A series as a file names it, and in which unit it is."""

    tank: str
    name: str
    unit: str


class Writer(Protocol):
    """A file that takes readings piece by piece, in order of time; `series` of a piece indexes its names."""

    def write(self, piece: Recording) -> None:
        """Add readings."""
        ...

    def close(self) -> None:
        """End the file."""
        ...


def spelled_unit(quantity: str) -> str:
    """How the canonical unit of a quantity is written; "" where it has none."""
    return QUANTITIES[quantity] or _SPELLED.get(quantity, "")


def writer(path: Path, ending: str, names: Sequence[Named]) -> Writer:
    """Open a file of the form that an ending says: .csv, .lp, both perhaps with .gz, or .parquet.

    Raises
    ------
    BrinebellError
        If it is another one, or what writes Parquet is not installed.
    """
    if ending in (".csv", ".csv.gz"):
        return _Csv(_opened(path, ending), names)
    if ending in (".lp", ".lp.gz"):
        return _Lines(_opened(path, ending), names)
    if ending == ".parquet":
        return _Parquet(path, names)
    raise BrinebellError(f"{path}: no such form; it must end in .csv, .csv.gz, .lp, .lp.gz or .parquet")


def csv_text(recording: Recording, configuration: Configuration) -> str:
    """The readings in long form, `time,series,value,unit`, one a line, in canonical units."""
    out = io.StringIO()
    names = [Named(one.tank, one.name, spelled_unit(one.quantity)) for one in configuration.series]
    _Csv(out, names).write(recording)
    return out.getvalue()


def _opened(path: Path, ending: str) -> IO[str]:
    if ending.endswith(".gz"):
        return gzip.open(path, "wt", encoding="utf-8")
    return path.open("w", encoding="utf-8")


class _Csv:
    def __init__(self, out: IO[str], names: Sequence[Named]) -> None:
        self._out = out
        self._names = [f"{one.tank}/{one.name}" for one in names]
        self._units = [one.unit for one in names]
        out.write(_HEADER)

    def write(self, piece: Recording) -> None:
        """See `Writer`."""
        for time_us, series, value in _rows(piece):
            self._out.write(f"{rfc3339(time_us)},{self._names[series]},{value!r},{self._units[series]}\n")

    def close(self) -> None:
        """See `Writer`."""
        self._out.close()


class _Lines:
    def __init__(self, out: IO[str], names: Sequence[Named]) -> None:
        self._out = out
        self._keys = [_key(one) for one in names]

    def write(self, piece: Recording) -> None:
        """See `Writer`."""
        for time_us, series, value in _rows(piece):
            self._out.write(f"{self._keys[series]} value={value!r} {time_us * _NANOSECONDS}\n")

    def close(self) -> None:
        """See `Writer`."""
        self._out.close()


def _key(one: Named) -> str:
    tags = {"series": one.name, "tank": one.tank, "unit": one.unit}
    return ",".join(["reading", *(f"{tag}={_escaped(text)}" for tag, text in tags.items() if text)])


def _escaped(text: str) -> str:
    return text.replace(",", r"\,").replace("=", r"\=").replace(" ", r"\ ")


class _Parquet:
    def __init__(self, path: Path, names: Sequence[Named]) -> None:
        try:
            import pyarrow as pa
            from pyarrow import parquet
        except ImportError as error:
            raise BrinebellError(
                f"{path}: writing Parquet needs pyarrow: pip install 'brinebell[parquet]', or write .csv.gz"
            ) from error
        word = pa.dictionary(pa.int32(), pa.string())
        self._schema: pa.Schema = pa.schema(
            [("time", pa.timestamp("us", "UTC")), ("series", word), ("value", pa.float64()), ("unit", word)]
        )
        self._names = pa.array([f"{one.tank}/{one.name}" for one in names], pa.string())
        self._units = pa.array([one.unit for one in names], pa.string())
        self._file = parquet.ParquetWriter(path, self._schema, compression="zstd")

    def write(self, piece: Recording) -> None:
        """See `Writer`."""
        import pyarrow as pa

        index = pa.array(piece.series, pa.int32())
        columns = [
            pa.array(piece.times_us, pa.timestamp("us", "UTC")),
            pa.DictionaryArray.from_arrays(index, self._names),
            pa.array(piece.values, pa.float64()),
            pa.DictionaryArray.from_arrays(index, self._units),
        ]
        self._file.write_table(pa.table(columns, schema=self._schema))

    def close(self) -> None:
        """See `Writer`."""
        self._file.close()


def _rows(piece: Recording) -> zip[tuple[int, int, float]]:
    return zip(piece.times_us.tolist(), piece.series.tolist(), piece.values.tolist(), strict=True)
