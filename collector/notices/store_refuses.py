"""A store that takes nothing for minutes is told: alarms ring from memory, but it cannot go on for ever.

When memory holds as many messages as the broker sends ahead, the rest waits there and is not judged.
"""

from __future__ import annotations

from collections.abc import Callable

from collector.notices.notice import Notice, Turn
from collector.wording.times import clock_text, duration_text
from rules import MICROSECONDS, Priority

NOTE = "store refuses since"
KINDS = ("store_refuses", "store_takes")
# A busy moment is over in seconds.
AFTER_US = 120 * MICROSECONDS


class StoreRefuses:
    """Follows whether commits are taken.

    Parameters
    ----------
    note
        What is noted under `NOTE`: since when they were refused, if that was told and the end of it was not.
    time_zone
        In which times are said.
    since_us
        Since when they are refused; None while they are taken.
    is_watched
        Whether alarms ring meanwhile: not where the service cannot start for it.
    """

    def __init__(
        self,
        note: str | None,
        time_zone: str,
        since_us: Callable[[], int | None],
        *,
        is_watched: bool = True,
    ) -> None:
        self._time_zone, self._refused_since_us, self._is_watched = time_zone, since_us, is_watched
        self._told_since_us = int(note) if note else None

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:  # noqa: ARG002
        """Say when it lasts, and when it is over."""
        since_us = self._refused_since_us()
        if since_us is None:
            return self._take_again(now_us)
        if self._told_since_us is not None or now_us - since_us < AFTER_US:
            return None
        self._told_since_us = since_us
        since = clock_text(since_us, now_us, self._time_zone)
        if self._is_watched:
            title = "Nothing is stored: the disk is full or fails"
            what = f"The store takes no reading since {since}. Alarms ring, from memory, until that is full."
        else:
            title = "Nothing is watched: the disk is full or fails"
            what = f"The service cannot start since {since}: no alarm rings. It starts by itself with room."
        body = (
            f"{what} Make room on the disk; it may also be worn out or read-only. brinebell check says more."
        )
        notice = Notice(KINDS[0], title, body, Priority.HIGH, KINDS)
        return Turn(notice, {NOTE: str(since_us)})

    def _take_again(self, now_us: int) -> Turn | None:
        if self._told_since_us is None:
            return None
        since_us, self._told_since_us = self._told_since_us, None
        body = (
            f"It took none for {duration_text(now_us - since_us)}, since "
            f"{clock_text(since_us, now_us, self._time_zone)}. What waited meanwhile is stored."
        )
        return Turn(Notice(KINDS[1], "The store takes readings again", body, Priority.LOW, KINDS), {NOTE: ""})
