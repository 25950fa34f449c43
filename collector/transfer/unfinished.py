"""The file of an export until it is finished, and a note beside it of what is in it, day by day.

A day counts when its bytes are durable, and its line in the note is written after them. Whoever goes on
believes neither: the bytes of each day must have the digest noted, and the store as many readings of it as
it had. The first day of which that is not so is cut off with all behind it, and written anew.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import BinaryIO

import orjson

from collector.errors import BrinebellError


@dataclass(frozen=True, slots=True)
class Begun:
    """What is exported: who asks for another thing does not go on with this one.

    Parameters
    ----------
    store, series, asked_from_us, asked_to_us
        The path of the store, `tank/name` of each series, and the stretch that was asked for, if one was.
    from_us, to_us
        The stretch that this came to when the export was begun; what was asked for is the same without.
    """

    store: str
    series: tuple[str, ...]
    asked_from_us: int | None
    asked_to_us: int | None
    from_us: int = field(compare=False)
    to_us: int = field(compare=False)


@dataclass(frozen=True, slots=True)
class Day:
    """A day in the file: `rows` readings are in the store, `written` of them in `length` bytes of digest."""

    from_us: int
    to_us: int
    rows: int
    written: int
    length: int
    digest: str


class Unfinished:
    """The file `NAME.part` and its note `NAME.part.days`; use `unfinished`."""

    def __init__(self, target: Path, note: BinaryIO, begun: Begun, head: bytes) -> None:
        self.path = _part(target)
        self._note, self._head = note, head
        self.days: list[Day] = []
        self.cut_off = 0
        note.seek(0)
        first, *lines = note.read().splitlines(keepends=True) or [b""]
        # A line without its end was never finished.
        found = _begun(first) if first.endswith(b"\n") else None
        if found is None:
            _require_no_other(self.path)
            found, first = begun, orjson.dumps(asdict(begun)) + b"\n"
            note.truncate(0)
            note.write(first)
            _make_durable(note)
        if found != begun:
            raise BrinebellError(
                f"{self.path} was begun for other series, another time or another store: finish that export "
                f"with its own command, remove {self.path} and {_note(target)}, or give another name"
            )
        self.begun = found
        self._first, self._lines = first, lines

    def verify(self, rows: Callable[[Day], int]) -> Iterator[Day]:
        """Look through what is there, day by day, and cut off what is not as noted; `rows` asks the store.

        Afterwards `days` are those that stay, `cut_off` is how many do not, and more can be added.
        """
        with self.path.open("a+b") as file:
            file.seek(0)
            is_good = file.read(len(self._head)) == self._head
            for line in self._lines if is_good else ():
                day = _day(line)
                if day is None or _digest(file.read(day.length)) != day.digest or rows(day) != day.rows:
                    break
                self.days.append(day)
                yield day
            file.truncate(len(self._head) + sum(day.length for day in self.days) if is_good else 0)
            if not is_good:
                file.write(self._head)
        self.cut_off = len(self._lines) - len(self.days)
        self._note.truncate(len(self._first) + sum(map(len, self._lines[: len(self.days)])))

    def add(self, from_us: int, to_us: int, rows: int, written: int, piece: bytes) -> None:
        """Add the bytes of a day, of which the store has `rows` readings and `written` are in them."""
        with self.path.open("ab") as file:
            file.write(piece)
            _make_durable(file)
        day = Day(from_us, to_us, rows, written, len(piece), _digest(piece))
        self._note.write(orjson.dumps(asdict(day)) + b"\n")
        _make_durable(self._note)
        self.days.append(day)


@contextmanager
def unfinished(target: Path, begun: Begun, head: bytes) -> Iterator[Unfinished]:
    """What there is of an export to `target`, or its beginning, for this process alone.

    Raises
    ------
    BrinebellError
        If another process writes it, or what is there is of another export.
    """
    if not _note(target).exists():
        _require_no_other(_part(target))
    with _note(target).open("a+b") as note:
        try:
            fcntl.lockf(note, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise BrinebellError(f"{target} is being written by another `brinebell export`") from error
        yield Unfinished(target, note, begun, head)


def remove(target: Path) -> None:
    """Take away what was needed only until the end."""
    _part(target).unlink(missing_ok=True)
    _note(target).unlink(missing_ok=True)


def _require_no_other(part: Path) -> None:
    """The note is durable before the part is there: without one it is somebody else's."""
    if part.exists():
        raise BrinebellError(
            f"{part} is in the way, and no export that can go on: remove it or give another name"
        )


def _part(target: Path) -> Path:
    return target.with_name(f"{target.name}.part")


def _note(target: Path) -> Path:
    return target.with_name(f"{target.name}.part.days")


def _begun(line: bytes) -> Begun | None:
    """What the first line says; None if it says nothing of ours."""
    try:
        said = orjson.loads(line)
        return Begun(**{**said, "series": tuple(said["series"])})
    except (ValueError, TypeError, KeyError):
        return None


def _day(line: bytes) -> Day | None:
    """What one of the other lines says; None if it was never finished."""
    try:
        return Day(**orjson.loads(line)) if line.endswith(b"\n") else None
    except (ValueError, TypeError):
        return None


def _digest(piece: bytes) -> str:
    return hashlib.blake2b(piece, digest_size=16).hexdigest()


def _make_durable(file: BinaryIO) -> None:
    file.flush()
    os.fsync(file.fileno())
