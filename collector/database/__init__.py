"""A time-series database beside the store: it takes every reading, and gives those back that the store lost.

`open_database` gives what speaks to the one that is configured, `readings_of` is the door for charts,
baselines and all else that reads over a long time.
"""

from collector.database.history import readings_of
from collector.database.lines import lines_of
from collector.database.opening import Database, open_database, opened_past
from collector.database.target import NotTakenError, Past, RefusedPointsError, Target

__all__ = [
    "Database",
    "NotTakenError",
    "Past",
    "RefusedPointsError",
    "Target",
    "lines_of",
    "open_database",
    "opened_past",
    "readings_of",
]
