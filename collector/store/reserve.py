"""Room on the disk that a start can take when there is no other: SQLite needs some to open a store at all.

A service that runs judges and rings on from memory when its disk is full. One that starts there could not
open its store, so it keeps a file of nothing beside it, gives that up, and is then where a running one is.
"""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from pathlib import Path

# The index of the log takes 32 kB, the rest is some commits until the disk is full again.
BYTES = 512 * 1024
# It is not what fills the disk.
_FREE_BYTES = 4 * BYTES


class Reserve:
    """The file `NAME.room` beside a store."""

    def __init__(self, store: Path) -> None:
        self._path = store.with_name(f"{store.name}.room")

    def keep(self) -> None:
        """Have it, if there is room for it and more."""
        if self._path.exists():
            return
        try:
            if shutil.disk_usage(self._path.parent).free < _FREE_BYTES:
                return
            with self._path.open("wb") as file:
                os.posix_fallocate(file.fileno(), 0, BYTES)
        except OSError:
            # A start on a full disk will have to wait, and says so then.
            self.give_up()

    def give_up(self) -> bool:
        """Take it away; whether there was one."""
        with suppress(OSError):
            self._path.unlink()
            return True
        return False
