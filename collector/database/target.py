"""What a time-series database is to us: somewhere that takes lines, and somewhere that readings come from.

Two speak: `version2` through influxdb-client, `version1` at /write and /query. Nothing else knows either.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from collector.errors import DatabaseError
from collector.store import Older


class NotTakenError(DatabaseError):
    """The database took nothing, or it is not known what: the same is sent again.

    Parameters
    ----------
    reason
        In plain words, with what the database said.
    mend
        What somebody may do about it; "" where waiting is all.
    retry_after_s
        How long the database asks to be left alone.
    is_slow
        Whether no answer came in time: less at once may go through.
    """

    def __init__(
        self, reason: str, mend: str = "", *, retry_after_s: float = 0.0, is_slow: bool = False
    ) -> None:
        super().__init__(reason)
        self.mend, self.retry_after_s, self.is_slow = mend, retry_after_s, is_slow


class RefusedPointsError(DatabaseError):
    """The database found fault with points themselves; those beside them may or may not be written.

    Parameters
    ----------
    reason
        What it said.
    dropped
        How many points it says that it left out; None where it does not say.
    """

    def __init__(self, reason: str, dropped: int | None = None) -> None:
        super().__init__(reason)
        self.dropped = dropped


class Target(Protocol):
    """Takes points. It is used by one thread at a time."""

    def write(self, lines: Sequence[bytes]) -> None:
        """Write lines of `lines_of`; all of them are durable there when it returns.

        Raises
        ------
        RefusedPointsError, NotTakenError
        """
        ...

    def close(self) -> None:
        """End the connection."""
        ...


class Past(Older, Protocol):
    """Gives readings back; for one thread at a time."""

    def close(self) -> None:
        """End the connection."""
        ...
