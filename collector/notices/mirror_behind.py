"""A time-series database that takes nothing for long, or refuses readings, is told once, quietly.

Nothing is lost by it: what it lacks waits in the store. But who wants years of charts there wants to know.
"""

from __future__ import annotations

from collections.abc import Callable

from collector.mirror import MirrorHealth
from collector.notices.notice import Notice, Turn
from collector.wording import BODY_WORDS
from collector.wording.fitting import shorten, words
from collector.wording.times import clock_text
from rules import Priority

AWAY_NOTE, REFUSED_NOTE = "database away since", "database refuses"
AWAY_KINDS = ("database_away", "database_back")
_WAIT = "Readings wait in the store."
_MEND = "How to mend it: brinebell check"


class MirrorBehind:
    """Follows the health of the mirror.

    Parameters
    ----------
    notes
        What is noted under `AWAY_NOTE` and `REFUSED_NOTE`: what was told and is not over.
    health
        Asked for how the mirror is.
    time_zone
        In which times are said.
    after_us
        How long the database may fail before that is told.
    """

    def __init__(
        self,
        notes: tuple[str | None, str | None],
        health: Callable[[], MirrorHealth],
        time_zone: str,
        after_us: int,
    ) -> None:
        self._health, self._time_zone, self._after_us = health, time_zone, after_us
        self._is_away_told, self._is_refusal_told = bool(notes[0]), bool(notes[1])

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:  # noqa: ARG002
        """Take note of the mirror; say when it has failed for long, works again, or has refused readings."""
        health = self._health()
        since_us = health.failing_since_us
        if since_us is not None:
            if self._is_away_told or now_us - since_us < self._after_us:
                return None
            self._is_away_told = True
            body = _body(f"Since {clock_text(since_us, now_us, self._time_zone)}:", health.reason)
            notice = Notice(AWAY_KINDS[0], "The database takes no readings", body, Priority.LOW, AWAY_KINDS)
            return Turn(notice, {AWAY_NOTE: str(since_us)})
        if self._is_away_told and health.has_sent:
            self._is_away_told = False
            body = "It catches up with the readings that waited in the store. Nothing is lost."
            notice = Notice(
                AWAY_KINDS[1], "The database takes readings again", body, Priority.LOW, AWAY_KINDS
            )
            return Turn(notice, {AWAY_NOTE: ""})
        return self._refusals(health)

    def _refusals(self, health: MirrorHealth) -> Turn | None:
        if not health.refused:
            # Those of before are tried anew first: whether they are taken shows with what is sent.
            if self._is_refusal_told and health.has_sent:
                self._is_refusal_told = False
                return Turn(None, {REFUSED_NOTE: ""})
            return None
        if self._is_refusal_told or not health.has_sent:
            return None
        self._is_refusal_told = True
        body = _body(f"It refused {health.refused:,}, which are set aside:", health.reason)
        notice = Notice("database_refuses", "The database refuses readings", body, Priority.LOW)
        return Turn(notice, {REFUSED_NOTE: str(health.refused)})


def _body(begin: str, reason: str) -> str:
    room = BODY_WORDS - sum(map(words, (begin, _WAIT, _MEND)))
    told = shorten(reason or "it says no more", 160, room).rstrip(".")
    return f"{begin} {told}. {_WAIT} {_MEND}"
