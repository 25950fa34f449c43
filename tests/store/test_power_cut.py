"""The power is cut between any two syncs of a real commit load: what was acknowledged is there, and whole.

A library in front of the C library (`power_cut.c`, compiled here) notes what the process writes, truncates,
renames and removes, and what it has made durable by fsync and fdatasync. From the notes the disk is built
again as a power cut may leave it: all that was synced; of what was written since then any subset of blocks of
4 KiB; of new, changed and removed names any beginning. That proves our order of syncs (and SQLite's), not the
card's honesty: one that says "durable" too early, or damages what it was not asked to write, loses what it
likes.
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import struct
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from collector.errors import StoreError
from collector.store import Store
from tests.store.commits import SERIES
from tests.store.power_child import COMMITS
from tests.store.test_crash import assert_whole

ROOT = Path(__file__).parents[2]
BLOCK = 4096
HEAD = struct.Struct("=cHIq")


class Note(NamedTuple):
    what: bytes
    path: str
    data: bytes
    offset: int


def notes_of(file: Path) -> Iterator[Note]:
    raw, at = file.read_bytes(), 0
    while at < len(raw):
        what, path, data, offset = HEAD.unpack_from(raw, at)
        at += HEAD.size
        yield Note(what, raw[at : at + path].decode(), raw[at + path : at + path + data], offset)
        at += path + data


class File:
    """What is durable of a file, and what was done to it since."""

    def __init__(self) -> None:
        self.durable = bytearray()
        self.pending: list[tuple[int, bytes | None]] = []

    def write(self, offset: int, data: bytes) -> None:
        while data:
            room = BLOCK - offset % BLOCK
            self.pending.append((offset, data[:room]))
            offset, data = offset + room, data[room:]

    def sync(self) -> None:
        self.durable = self.built(self.pending)
        self.pending = []

    def built(self, kept: list[tuple[int, bytes | None]]) -> bytearray:
        content = bytearray(self.durable)
        for offset, data in kept:
            end = offset + len(data or b"")
            content.extend(bytes(max(0, end - len(content))))
            if data is None:
                del content[offset:]
            else:
                content[offset:end] = data
        return content


class Disk:
    """One folder, as it is now and as a power cut may leave it."""

    def __init__(self, folder: str) -> None:
        self._folder = folder
        # Names after each change since the folder was synced, what is durable first.
        self._names: list[dict[str, File]] = [{}]

    def take(self, note: Note) -> None:
        now = self._names[-1]
        if note.what == b"s" and note.path == self._folder:
            self._names = [now]
        elif note.what == b"s":
            now[note.path].sync()
        elif note.what == b"w":
            now[note.path].write(note.offset, note.data)
        elif note.what == b"t":
            now[note.path].pending.append((note.offset, None))
        elif note.what == b"c" and note.path not in now:
            self._names.append({**now, note.path: File()})
        elif note.what in (b"r", b"l"):
            other = {**now, note.data.decode(): now[note.path]}
            self._names.append(other if note.what == b"l" else _without(other, note.path))
        elif note.what == b"u":
            self._names.append(_without(now, note.path))

    def cut(self, dice: random.Random, share: float, folder: Path) -> None:
        """Write into a folder what may be left, of what is not durable about a share."""
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        last = sum(dice.random() < share for _ in self._names[1:])
        for path, file in self._names[last].items():
            if not path.endswith("-shm"):
                kept = [one for one in file.pending if dice.random() < share]
                (folder / Path(path).name).write_bytes(file.built(kept))


def _without(names: dict[str, File], path: str) -> dict[str, File]:
    return {known: file for known, file in names.items() if known != path}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the notes of a whole run, whose disk was `disk` in it."""
    if shutil.which("gcc") is None:
        pytest.skip("skipped: gcc is not installed")
    folder = tmp_path_factory.mktemp("power")
    disk, library = folder / "disk", folder / "power_cut.so"
    disk.mkdir()
    source = Path(__file__).with_name("power_cut.c")
    options = ("-shared", "-fPIC", "-O2", "-Wall", "-Werror")
    subprocess.run(["gcc", *options, "-o", str(library), str(source), "-ldl", "-lpthread"], check=True)
    subprocess.run(
        [sys.executable, "-m", "tests.store.power_child", str(disk / "store.sqlite")],
        cwd=ROOT,
        check=True,
        timeout=100,
        env={
            **os.environ,
            "LD_PRELOAD": str(library),
            "POWER_CUT_FOLDER": str(disk),
            "POWER_CUT_NOTES": str(folder / "notes"),
        },
    )
    return folder


def cuts(
    folder: Path, target: Path, share: float, seed: int, deaf_to: str = ""
) -> Iterator[tuple[int, Path]]:
    """What was acknowledged, and the store, at a cut right before each sync and at the end.

    A disk that is `deaf_to` a file lets syncs of it pass.
    """
    dice, disk, acknowledged = random.Random(seed), Disk(str(folder / "disk")), 0
    for note in [*notes_of(folder / "notes"), None]:
        if note is None or note.what == b"s":
            disk.cut(dice, share, target)
            yield acknowledged, target / "store.sqlite"
        if note is None:
            return
        name = Path(note.path).name
        if name != "done" and not (note.what == b"s" and name == deaf_to):
            disk.take(note)
        elif note.what == b"w":
            acknowledged = int(note.data)


def look(acknowledged: int, path: Path) -> None:
    """Assert that a store, and a backup if there is one, holds what was acknowledged, whole."""
    with Store(path) as store:
        store.register(SERIES)
    if acknowledged:
        assert min(acknowledged, COMMITS) <= assert_whole(path) <= acknowledged + 1
    backup = path.with_name("backup.sqlite")
    if backup.exists():
        assert assert_whole(backup) == COMMITS
    assert backup.exists() or acknowledged <= COMMITS


@pytest.mark.parametrize(("share", "seed"), [(0.0, 0), (0.5, 1)])
def test_what_was_acknowledged_is_there_and_whole_wherever_the_power_is_cut(
    folder: Path, tmp_path: Path, share: float, seed: int
) -> None:
    cut = 0
    for acknowledged, path in cuts(folder, tmp_path / "cut", share, seed):
        look(acknowledged, path)
        cut += 1
    # Each commit syncs the log, each checkpoint the log and the file.
    assert cut > COMMITS + 12


def test_the_run_does_all_that_is_noted(folder: Path) -> None:
    assert {note.what for note in notes_of(folder / "notes")} == {b"c", b"w", b"t", b"s", b"r", b"u"}


@pytest.mark.parametrize("deaf_to", ["store.sqlite", "store.sqlite-wal", "backup.sqlite.part"])
def test_a_disk_that_lets_a_sync_pass_is_found_out(folder: Path, tmp_path: Path, deaf_to: str) -> None:
    """Each of these syncs is needed: without it the same look fails somewhere."""
    failed = 0
    for acknowledged, path in cuts(folder, tmp_path / "cut", 0.5, 2, deaf_to):
        try:
            look(acknowledged, path)
        except (AssertionError, StoreError, sqlite3.Error):
            failed += 1
            break
    assert failed
