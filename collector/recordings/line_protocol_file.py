"""Recordings in InfluxDB line protocol, as exports of such a database are.

A point's tags `tank` and `series`, and perhaps `unit`, say what its field `value` is. Without them every
field is one of its own: the series is named by the field, or by the measurement where the field is `value`.
Timestamps are nanoseconds; a file of other ones says so by the length of its numbers.
"""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from collector.configuration import Configuration
from collector.errors import BrinebellError, PayloadError
from collector.recordings.columns import Columns
from collector.recordings.csv_file import PLAIN
from collector.recordings.form import Converters, Form, States
from collector.recordings.recording import Recording, Skipped

_LINES_SHOWN = 3
# Instants of our days are longer numbers than these in each unit, and its second has so many parts.
_PARTS = ((10**17, 1_000_000_000), (10**14, 1_000_000), (10**11, 1_000), (0, 1))


class _Field(NamedTuple):
    """A row of the table that is made of the file."""

    line: int
    time: float
    series: str
    value: float | bool | str
    unit: str


def read_line_protocol(
    path: Path, configuration: Configuration, converter: Converters, state: States, form: Form = PLAIN
) -> Recording:
    """Read one file of line protocol, perhaps gzipped.

    Raises
    ------
    BrinebellError
        If the file cannot be read; bad lines are skipped and told instead.
    """
    import pandas as pd

    bad: dict[str, list[int]] = {}
    try:
        opened = gzip.open if path.suffix == ".gz" else open
        with opened(path, "rb") as file:
            rows = list(_fields(file, bad))
    except OSError as error:
        raise BrinebellError(f"{path}: cannot be read: {error}") from error
    table = pd.DataFrame(rows, columns=_Field._fields).set_index("line")
    found = Columns(path, configuration, converter, state, form, first_line=0).read(table)
    told = [Skipped(f"{path}: line {_numbers(lines)}", reason, len(lines)) for reason, lines in bad.items()]
    return Recording(found.times_us, found.values, found.series, (*told, *found.skipped))


def _fields(file: Iterator[bytes], bad: dict[str, list[int]]) -> Iterator[_Field]:
    from collector.payloads import parse_line

    for number, raw in enumerate(file, start=1):
        line = raw.strip()
        if not line or line.startswith(b"#"):
            continue
        try:
            point = parse_line(line)
        except PayloadError as error:
            bad.setdefault(str(error), []).append(number)
            continue
        for _, reason in point.flaws:
            bad.setdefault(reason, []).append(number)
        if point.observed_us is None:
            bad.setdefault("it has no timestamp", []).append(number)
            continue
        stamp = int(line.rsplit(b" ", 1)[1])
        parts = next(parts for least, parts in _PARTS if abs(stamp) >= least)
        seconds, rest = divmod(stamp, parts)
        for key, value in point.fields.items():
            series = point.tags.get("series") or (point.measurement if key == "value" else key)
            tank = point.tags.get("tank")
            name = series if tank is None else f"{tank}/{series}"
            yield _Field(number, seconds + rest / parts, name, value, point.tags.get("unit", ""))


def _numbers(lines: list[int]) -> str:
    more = "" if len(lines) <= _LINES_SHOWN else f" and {len(lines) - _LINES_SHOWN} more"
    return ", ".join(map(str, lines[:_LINES_SHOWN])) + more
