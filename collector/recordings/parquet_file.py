"""Parquet recordings: the same columns as in CSV, with types of their own; needs the `parquet` extra."""

from __future__ import annotations

from pathlib import Path

from collector.configuration import Configuration
from collector.errors import BrinebellError
from collector.recordings.columns import Columns
from collector.recordings.csv_file import PLAIN
from collector.recordings.form import Converters, Form, States
from collector.recordings.recording import Recording


def read_parquet(
    path: Path, configuration: Configuration, converter: Converters, state: States, form: Form = PLAIN
) -> Recording:
    """Read one Parquet file.

    Raises
    ------
    BrinebellError
        As `read_csv`; also if what reads Parquet is not installed.
    """
    import pandas as pd

    try:
        table = pd.read_parquet(path)
    except ImportError as error:
        raise BrinebellError(
            f"{path}: reading Parquet needs pyarrow: pip install 'brinebell[parquet]', or export it as CSV"
        ) from error
    except (OSError, ValueError) as error:
        raise BrinebellError(f"{path}: cannot be read as Parquet: {error}") from error
    if table.index.name is not None:
        # Whoever writes a table by time often has that as the index.
        table = table.reset_index()
    columns = Columns(path, configuration, converter, state, form, first_line=1, line="row")
    return columns.read(table.reset_index(drop=True))
