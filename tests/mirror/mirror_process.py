"""A process that mirrors until it dies: `mirror_process.py STORE ADDRESS DATABASE STEP`.

Its steps are what it does around the cursor, "before send 1", "after send 1", "after settle 1", those of the
second batch, and so on; at STEP it kills itself.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections import Counter
from pathlib import Path

from collector.configuration import DatabaseConfiguration
from collector.database import open_database
from collector.mirror import MirrorWorker, Pace
from collector.store import MirrorCursor


def main() -> None:
    store, address, name, die_at = sys.argv[1:]
    database = DatabaseConfiguration(address, api="v1", bucket=name)
    passed: Counter[str] = Counter()

    def pass_step(kind: str) -> None:
        passed[kind] += 1
        if f"{kind} {passed[kind]}" == die_at:
            os.kill(os.getpid(), signal.SIGKILL)

    with MirrorWorker(
        lambda: MirrorCursor(Path(store), database.identity),
        lambda: open_database(database),
        pace=Pace(most=500),
        pass_step=pass_step,
    ):
        threading.Event().wait(20)


if __name__ == "__main__":
    main()
