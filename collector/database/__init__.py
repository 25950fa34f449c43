"""A time-series database beside the store: it takes every reading, and gives those back that the store lost.

`open_database` gives what speaks to the one that is configured. The store's reader takes an `Archive` as its
older record: that is the door for pages. `opened_past` is that for commands, which have time.
"""

from collector.database.archive import Archive, start_archive
from collector.database.lines import lines_of
from collector.database.opening import Database, open_database, opened_past
from collector.database.target import NotTakenError, Past, RefusedPointsError, Target

__all__ = [
    "Archive",
    "Database",
    "NotTakenError",
    "Past",
    "RefusedPointsError",
    "Target",
    "lines_of",
    "open_database",
    "opened_past",
    "start_archive",
]
