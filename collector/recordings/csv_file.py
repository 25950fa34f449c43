"""CSV recordings, long (`time,series,value`) or wide (`time` and one column a series), also gzipped.

Times are RFC 3339 with an offset, or Unix seconds, or as a `Form` says. A series is named `tank/name`, or
`name` alone where only one tank has it, in any case. Values are taken as if they arrived: in the series' own
unit, unless the file says otherwise in brackets behind a wide column's name (`temperature [degF]`), or in a
`unit` column of a long file. Columns are parted by commas, semicolons or tabs; with the latter two a comma
may stand for the decimal point.
"""

from __future__ import annotations

import gzip
from pathlib import Path
from typing import TYPE_CHECKING

from collector.configuration import Configuration
from collector.errors import BrinebellError
from collector.recordings.columns import EMPTY, Columns
from collector.recordings.form import Converters, Form, States
from collector.recordings.recording import Recording

if TYPE_CHECKING:
    import pandas as pd

_SEPARATORS = ",;\t"
PLAIN = Form()


def read_csv(
    path: Path, configuration: Configuration, converter: Converters, state: States, form: Form = PLAIN
) -> Recording:
    """Read one CSV file.

    Raises
    ------
    BrinebellError
        If the file cannot be read or has no time column; bad rows are skipped and told instead.
    """
    try:
        header, skipped = _header(path)
        table = _table(path, max(_SEPARATORS, key=header.count), skipped)
    except (OSError, ValueError, UnicodeDecodeError) as error:
        raise BrinebellError(f"{path}: cannot be read as CSV: {error}") from error
    return Columns(path, configuration, converter, state, form, first_line=skipped + 2).read(table)


def _header(path: Path) -> tuple[str, int]:
    """The first line that is no remark, and how many lines there are before it."""
    opened = gzip.open if path.suffix == ".gz" else open
    with opened(path, "rt", encoding="utf-8-sig") as file:
        for number, line in enumerate(file):
            if line.strip() and not line.startswith("#"):
                return line, number
    raise ValueError("it holds no line")


def _table(path: Path, separator: str, skipped: int) -> pd.DataFrame:
    import pandas as pd

    # Empty lines and remarks are kept as rows at first, so that lines are counted as an editor does.
    table = pd.read_csv(
        path,
        sep=separator,
        decimal="." if separator == "," else ",",
        skiprows=skipped,
        encoding="utf-8-sig",
        keep_default_na=False,
        na_values=list(EMPTY),
        skipinitialspace=True,
        skip_blank_lines=False,
        low_memory=False,
    )
    table = table.dropna(how="all")
    first = table.iloc[:, 0]
    if not pd.api.types.is_numeric_dtype(first):
        table = table[~first.astype(str).str.startswith("#")]
    return table
