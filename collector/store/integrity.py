"""Is a store file sound? SQLite reads through all of it and says what is wrong, if anything."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path


def flaw_of(path: Path, *, is_thorough: bool) -> str | None:
    """The first thing that is wrong with a database file; None for nothing.

    Parameters
    ----------
    is_thorough
        Whether indices are held against their tables, too, which takes several times as long.
    """
    pragma = "integrity_check" if is_thorough else "quick_check"
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
            told = str(connection.execute(f"PRAGMA {pragma}(1)").fetchone()[0])
    except sqlite3.Error as error:
        return str(error)
    return None if told == "ok" else told.splitlines()[0]
