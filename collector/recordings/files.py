"""Any number of files and folders of recordings, each read by what its name says it is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from collector.configuration import Configuration
from collector.errors import BrinebellError
from collector.recordings.csv_file import PLAIN, read_csv
from collector.recordings.derived import with_derived
from collector.recordings.form import Converters, Form, States
from collector.recordings.line_protocol_file import read_line_protocol
from collector.recordings.parquet_file import read_parquet
from collector.recordings.recording import Recording, join

_READERS: dict[str, Callable[[Path, Configuration, Converters, States, Form], Recording]] = {
    ".csv": read_csv,
    ".txt": read_csv,
    ".tsv": read_csv,
    ".parquet": read_parquet,
    ".lp": read_line_protocol,
    ".line": read_line_protocol,
}
ENDINGS = ", ".join(_READERS)


def read_files(
    paths: Iterable[Path],
    configuration: Configuration,
    converter: Converters,
    state: States,
    form: Form = PLAIN,
    progress: Callable[[Path], object] = lambda _: None,
) -> Recording:
    """Read files, and in folders those whose name says that they are recordings, into one.

    Parameters
    ----------
    converter, state
        See `Converters` and `States`.
    progress
        Called with each file before it is read.

    Raises
    ------
    BrinebellError
        If one cannot be read, is of no known kind, or a folder holds none.
    """
    found = []
    for path in files_of(paths):
        progress(path)
        found.append(read_file(path, configuration, converter, state, form))
    return with_derived(join(found), configuration)


def read_file(
    path: Path, configuration: Configuration, converter: Converters, state: States, form: Form = PLAIN
) -> Recording:
    """Read one file of `files_of`; nothing is computed from other series."""
    return _READERS[_ending(path)](path, configuration, converter, state, form)


def _ending(path: Path) -> str:
    plain = path.with_suffix("") if path.suffix.lower() == ".gz" else path
    return plain.suffix.lower()


def files_of(paths: Iterable[Path]) -> Iterator[Path]:
    """Files, and in folders those whose name says that they are recordings.

    Raises
    ------
    BrinebellError
        If one is not there or of no known kind, or a folder holds none.
    """
    for path in paths:
        if path.is_dir():
            inside = [one for one in sorted(path.iterdir()) if one.is_file() and _ending(one) in _READERS]
            if not inside:
                raise BrinebellError(f"{path}: the folder holds no recording: files that end in {ENDINGS}")
            yield from inside
        elif not path.exists():
            raise BrinebellError(f"{path}: there is no such file or folder")
        elif _ending(path) not in _READERS:
            raise BrinebellError(
                f"{path}: what it is, its name does not say: it must end in {ENDINGS}, perhaps with .gz"
            )
        else:
            yield path
