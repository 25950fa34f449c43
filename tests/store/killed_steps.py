"""A scenario killed before each of its steps in turn, looked at and repeated after each kill.

python -m tests.store.killed_steps SCENARIO FOLDER      says how many kills there were

A step is a statement that SQLite begins, a file that is opened, renamed, given a second name or removed, or a
piece of a copy. Each kill is SIGKILL in a forked child on a fresh copy of the same store.
"""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

from collector.store import Commit, IncidentRecord, Store, Upkeep, back_up, restore
from collector.store.upkeep import DAY_US, HOUR_US
from rules import AlarmKey, Evidence, Incident, Priority
from tests.store.commits import SERIES, START_US, assert_rollups_match_readings, of, query, row

DAYS = 6
NOW_US = START_US + DAYS * DAY_US
_FILES = ("os.rename", "os.link", "os.remove", "open")
# Of an incident in the fourth day, which the second and third day are not near.
EVIDENCE_US = START_US + 3 * DAY_US + HOUR_US


class Steps:
    """Counts steps, and kills this process before the one of a number."""

    def __init__(self, last: int, folder: Path) -> None:
        self._left, self._folder = last, str(folder)
        sys.addaudithook(self._hear)
        connect = sqlite3.connect

        def connect_and_listen(*given: object, **named: object) -> sqlite3.Connection:
            connection = connect(*given, **named)
            connection.set_trace_callback(self.take)
            return connection

        # Only here, in a child that is about to be killed.
        sqlite3.connect = connect_and_listen

    def take(self, *_: object) -> None:
        self._left -= 1
        if self._left < 0:
            os.kill(os.getpid(), signal.SIGKILL)

    def _hear(self, event: str, details: tuple) -> None:
        if event in _FILES and str(details[0]).startswith(self._folder):
            self.take()


def make(path: Path) -> None:
    """Six days of readings of two series every ten minutes, an incident, a message that waits."""
    with Store(path, synchronous="OFF") as store:
        store.register(SERIES)
        for hour in range(24 * DAYS):
            rows = [
                row(series, 3600 * hour + 600 * k + series, 25 + k % 3 / 10, tests=0x30 * (k == 2))
                for k in (0, 2, 5)
                for series in range(2)
            ]
            store.commit(of(*rows, seconds=3600 * (hour + 1)))
        key = AlarmKey("reef", "temperature", "under_limit")
        incident = Incident(
            1,
            "reef",
            "under_limit",
            ("temperature",),
            Priority.HIGH,
            EVIDENCE_US,
            EVIDENCE_US,
            EVIDENCE_US + HOUR_US,
            Evidence(),
            (key,),
        )
        store.commit(Commit(NOW_US, NOW_US, incidents=[IncidentRecord(incident, "cold", "water")]))


def whole(path: Path) -> None:
    assert query(path, "PRAGMA integrity_check") == [("ok",)]
    assert_rollups_match_readings(path)


def content(path: Path) -> list[list[tuple]]:
    tables = ("readings", "tests", "rollups", "minutes", "upkeep", "commits", "incidents")
    return [query(path, f"SELECT * FROM {table} ORDER BY 1, 2") for table in tables]


# -- rollups -----------------------------------------------------------------------------------------


def roll_up(path: Path, take: Callable[..., None]) -> None:
    with Store(path) as store:
        upkeep = Upkeep(store)
        while upkeep.roll_up(NOW_US, DAYS * DAY_US):
            take()


def rolled_up(path: Path) -> None:
    assert len(query(path, "SELECT * FROM minutes")) > 800


# -- retention ---------------------------------------------------------------------------------------


def make_rolled(path: Path) -> None:
    make(path)
    roll_up(path, lambda: None)


def let_go(path: Path, take: Callable[..., None]) -> None:
    with Store(path) as store:
        upkeep = Upkeep(store)
        while upkeep.let_go(NOW_US - DAY_US, 3 * DAY_US) is not None:
            take()


def let_gone(path: Path) -> None:
    (first_us,) = query(path, "SELECT min(observed_us) FROM readings")[0]
    assert EVIDENCE_US - DAY_US <= first_us < EVIDENCE_US - DAY_US + HOUR_US
    for table in ("minutes", "rollups", "incidents"):
        statement = f"SELECT * FROM {table}"
        assert query(path, statement) == query(path.parents[1] / "first" / path.name, statement)
    assert query(path, "SELECT count(*) FROM tests WHERE observed_us < ?", (first_us,)) == [(0,)]


# -- backup and restore ------------------------------------------------------------------------------


def backup(path: Path, take: Callable[..., None]) -> None:
    back_up(path, path.with_name("backup.sqlite"), take)


def backed_up(path: Path) -> None:
    found = path.with_name("backup.sqlite")
    if found.exists():
        assert query(found, "PRAGMA integrity_check") == [("ok",)]
        assert content(found) == content(path)
        found.unlink()


def make_with_backup(path: Path) -> None:
    make(path)
    backup(path, lambda *_: None)
    with Store(path) as store:
        store.register(SERIES)
        store.commit(of(row(0, 7 * 86_400, 99.0), seconds=7 * 86_400))
    # A log that a kill has left behind belongs to the old store alone.
    pid = os.fork()
    if pid == 0:
        store = Store(path)
        store.register(SERIES)
        store.commit(of(row(0, 8 * 86_400, 98.0), seconds=8 * 86_400))
        os._exit(0)
    os.waitpid(pid, 0)
    assert path.with_name(path.name + "-wal").stat().st_size > 0


def restore_it(path: Path, take: Callable[..., None]) -> None:
    restore(path, path.with_name("backup.sqlite"), NOW_US, take)


def restored(path: Path) -> None:
    """The old store with all of its log, or the backup; and the old one is kept where it is the backup.

    Who restores twice, since a kill came late, keeps both.
    """
    newest = "SELECT value FROM readings ORDER BY observed_us DESC LIMIT 2"
    if content(path) == content(path.with_name("backup.sqlite")):
        kept = [
            one for one in path.parent.glob("*before-restore*") if not one.name.endswith(("-wal", "-shm"))
        ]
        assert any(query(one, newest) == [(98,), (99,)] for one in kept)
    else:
        assert query(path, newest) == [(98,), (99,)]


SCENARIOS = {
    "roll_up": (make, roll_up, rolled_up),
    "let_go": (make_rolled, let_go, let_gone),
    "backup": (make, backup, backed_up),
    "restore": (make_with_backup, restore_it, restored),
}


def kill_before(number: int, run: Callable[..., None], path: Path) -> bool:
    """Whether there was a step of that number."""
    child = os.fork()
    if child == 0:
        steps = Steps(number, path.parent)
        try:
            run(path, steps.take)
        except BaseException as error:  # noqa: BLE001 (told, and a failure of the parent)
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
            os._exit(1)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0
    return os.WIFSIGNALED(status)


def main() -> None:
    name, folder = sys.argv[1], Path(sys.argv[2])
    make_it, run, look = SCENARIOS[name]
    first = folder / "first"
    make_it(first / "store.sqlite")
    kills = 0
    for number in range(10_000):
        path = folder / str(number) / "store.sqlite"
        shutil.copytree(first, path.parent)
        if not kill_before(number, run, path):
            break
        kills += 1
        whole(path)
        if name in ("backup", "restore"):
            look(path)
        run(path, lambda *_: None)
        whole(path)
        look(path)
        shutil.rmtree(path.parent)
    look(path)
    sys.stdout.write(f"{kills}\n")


if __name__ == "__main__":
    main()
