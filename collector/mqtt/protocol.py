"""Which version of MQTT to speak with a broker: 5 first, 3.1.1 where 5 is not understood, and remembered."""

from __future__ import annotations

from collections.abc import Callable
from enum import IntEnum


class Protocol(IntEnum):
    """Versions of MQTT that are spoken; the numbers are those of the CONNECT packet."""

    V3_1_1 = 4
    V5 = 5

    def __str__(self) -> str:
        return "3.1.1" if self is Protocol.V3_1_1 else "5"


class ProtocolChoice:
    """The version for the next connection to one broker.

    A broker that says that it does not know MQTT 5 is remembered at once. One that answers nothing may
    only be busy or about to stop: it is remembered when that has happened twice.

    Parameters
    ----------
    note
        What was remembered: "3.1.1", "unanswered" (once), or anything else for MQTT 5.
    remember
        Keeps such a note.
    """

    def __init__(self, note: str | None, remember: Callable[[str], None]) -> None:
        self._note = note
        self._remember = remember
        self._why: str | None = None
        self.current = self._usual

    @property
    def _usual(self) -> Protocol:
        return Protocol.V3_1_1 if self._note == "3.1.1" else Protocol.V5

    def turned_down(self, *, explicitly: bool) -> bool:
        """Take note that the current version was not understood; return whether to try another at once."""
        if self.current is Protocol.V5:
            self.current = Protocol.V3_1_1
            self._why = "refused" if explicitly else "unanswered"
            return True
        self.current = Protocol.V5
        self._why = None
        return False

    def accepted(self) -> None:
        """Take note that the broker let us in with the current version."""
        if self._why == "refused" or (self._why == "unanswered" and self._note == "unanswered"):
            self._keep("3.1.1")
        elif self._why == "unanswered":
            self._keep("unanswered")
        elif self.current is Protocol.V5 and self._note is not None:
            self._keep("5")
        self._why = None
        self.current = self._usual

    def _keep(self, note: str) -> None:
        if note != self._note:
            self._note = note
            self._remember(note)
