"""What was missed while the service was away: one message at the start after an outage.

What the broker kept arrives after the start, so the message waits until that has been taken in, but not for
ever. That it is owed is noted in the first commit of all, which by itself ends the outage.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from collector.notices.missed import Missed
from collector.notices.notice import Notice, Turn
from collector.wording.times import clock_text, duration_text
from rules import MICROSECONDS, Priority

NOTE = "outage to tell"
# A broker that starts with the same current is back in a minute or two.
WAIT_US = 10 * 60 * MICROSECONDS
_NAMED = 2


class Outage:
    """Finds out about an outage as the service starts, and tells of it once.

    Parameters
    ----------
    note
        What is noted under `NOTE`: an outage that is still to be told.
    last_us
        When the service last lived, None if it never did.
    now_us
        Now, as it starts.
    time_zone
        In which times are said.
    after_us
        What was shorter is not worth a message.
    missed
        Finds what was missed from an instant to another.
    begun
        When the service began by what is known now, None while nobody knows what time it is: so long it is
        owed, and whether it was long enough to be told is found out then.
    """

    def __init__(
        self,
        note: str | None,
        last_us: int | None,
        now_us: int,
        time_zone: str,
        after_us: int,
        missed: Callable[[int, int], Missed],
        begun: Callable[[], int | None] | None = None,
    ) -> None:
        self._time_zone, self._missed = time_zone, missed
        self._to_us, self._after_us, self._begun = now_us, after_us, begun
        is_known = begun is None or begun() is not None
        self._is_noted = False
        self._from_us: int | None = None
        if note:
            self._from_us = int(note)
        elif last_us is not None and (not is_known or now_us - last_us >= after_us):
            self._from_us = last_us

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:
        """First note that there is something to tell, then tell it when the backlog is over."""
        if self._from_us is None:
            return None
        if not self._is_noted:
            self._is_noted = True
            return Turn(None, {NOTE: str(self._from_us)})
        if self._begun is not None:
            begun_us = self._begun()
            if begun_us is None:
                return None
            self._begun, self._to_us = None, begun_us
            if begun_us - self._from_us < self._after_us:
                self._from_us = None
                return Turn(None, {NOTE: ""})
        is_live = is_connected and not is_catching_up
        if not is_live and now_us - self._to_us < WAIT_US:
            return None
        from_us, self._from_us = self._from_us, None
        return Turn(self._notice(from_us, now_us, is_live=is_live), {NOTE: ""})

    def _notice(self, from_us: int, now_us: int, *, is_live: bool) -> Notice:
        begin, end = (clock_text(at_us, now_us, self._time_zone) for at_us in (from_us, self._to_us))
        missed = self._missed(from_us, self._to_us)
        parts = [f"Nobody watched from {begin} to {end}."]
        if not is_live:
            parts.append("The broker is not reached yet.")
        elif missed.series:
            parts.append(f"No readings of that time: {_listed(missed.series, _NAMED)}.")
        else:
            parts.append("The broker kept the readings of that time.")
        if missed.open_titles:
            parts.append(f"Open now: {_listed(missed.open_titles, 1)}.")
        elif is_live:
            parts.append("No alarm is open now.")
        title = f"Brinebell was away for {duration_text(self._to_us - from_us)}"
        return Notice("outage", title, " ".join(parts), Priority.LOW)


def _listed(names: Sequence[str], most: int) -> str:
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
