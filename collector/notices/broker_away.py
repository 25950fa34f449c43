"""A broker that cannot be reached for long is told: nobody hears the probes meanwhile, so nothing rings.

A broker that is there while its probes are silent is no matter of this module: each of them is missed by
its own gap limit.
"""

from __future__ import annotations

from collector.notices.notice import Notice, Turn
from collector.wording.times import clock_text, duration_text
from rules import MICROSECONDS, Priority

NOTE = "broker away since"
KINDS = ("broker_away", "broker_back")
# A line that breaks again and again has not come back.
STEADY_US = 60 * MICROSECONDS


class BrokerAway:
    """Follows the line to the broker.

    Parameters
    ----------
    note
        What is noted under `NOTE`: since when it has been away, if that was told and its return was not.
    broker
        Where it is, "127.0.0.1:1883".
    time_zone
        In which times are said.
    after_us
        How long it may be away before that is told.
    """

    def __init__(self, note: str | None, broker: str, time_zone: str, after_us: int) -> None:
        self._broker, self._time_zone, self._after_us = broker, time_zone, after_us
        self._is_told = bool(note)
        self._since_us = int(note) if note else None
        self._back_us: int | None = None

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:  # noqa: ARG002
        """Take note of the line; say when it is away for long, and when it is back."""
        if is_connected:
            return self._be_back(now_us)
        self._back_us = None
        if self._since_us is None:
            self._since_us = now_us
        if self._is_told or now_us - self._since_us < self._after_us:
            return None
        self._is_told = True
        since = clock_text(self._since_us, now_us, self._time_zone)
        body = (
            f"The broker at {self._broker} cannot be reached since {since}: no probe is heard, and no alarm "
            "can ring. Is it running? Has the network failed? Look at the tank."
        )
        notice = Notice("broker_away", "Nothing is watched: the broker is away", body, Priority.HIGH, KINDS)
        return Turn(notice, {NOTE: str(self._since_us)})

    def _be_back(self, now_us: int) -> Turn | None:
        if self._since_us is None:
            return None
        if self._back_us is None:
            self._back_us = now_us
        if now_us - self._back_us < STEADY_US:
            return None
        since_us, back_us = self._since_us, self._back_us
        self._since_us = self._back_us = None
        if not self._is_told:
            return None
        self._is_told = False
        body = (
            f"It was away for {duration_text(back_us - since_us)}, since "
            f"{clock_text(since_us, now_us, self._time_zone)}. The tank is watched again."
        )
        return Turn(Notice("broker_back", "The broker is back", body, Priority.LOW, KINDS), {NOTE: ""})
