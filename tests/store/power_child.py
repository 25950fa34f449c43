"""What runs until the power is cut: commits, upkeep, a checkpoint every few commits, and a backup.

python -m tests.store.power_child FILE       what has returned is written to `done` beside it
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from collector.store import Store, Upkeep, back_up
from tests.store.commits import SERIES
from tests.store.writing_child import batch_of

COMMITS = 24


def main() -> None:
    path = Path(sys.argv[1])
    done = os.open(path.with_name("done"), os.O_CREAT | os.O_WRONLY)
    with Store(path) as store:
        store.connection.execute("PRAGMA wal_autocheckpoint = 60")
        store.register(SERIES)
        for number in range(1, COMMITS + 1):
            batch = batch_of(number)
            store.commit(batch)
            os.write(done, b"%d\n" % number)
            if number % 8 == 0:
                Upkeep(store).catch_up(batch.committed_us + 3_600_000_000)
    back_up(path, path.with_name("backup.sqlite"))
    os.write(done, b"%d\n" % (COMMITS + 1))


if __name__ == "__main__":
    main()
