"""What systemd is told by a service of Type=notify: that it is ready, lives, and stops (sd_notify(3))."""

from __future__ import annotations

import logging
import os
import socket
import time
from collections.abc import Callable, Mapping

_LOG = logging.getLogger(__name__)


class Systemd:
    """Writes to the socket that the environment names; silent where there is none.

    Parameters
    ----------
    environ
        NOTIFY_SOCKET, and where the unit has WatchdogSec, WATCHDOG_USEC and WATCHDOG_PID
        (sd_watchdog_enabled(3)).
    monotonic
        Wall seconds.
    """

    def __init__(
        self, environ: Mapping[str, str] = os.environ, *, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._monotonic = monotonic
        self._address = environ.get("NOTIFY_SOCKET", "")
        if self._address.startswith("@"):  # an abstract socket, unix(7)
            self._address = "\0" + self._address[1:]
        self._every_s: float | None = None
        text = environ.get("WATCHDOG_USEC", "")
        if self._address and text.isdecimal() and environ.get("WATCHDOG_PID", "") in ("", str(os.getpid())):
            # Twice within the limit is what the manual asks for; once more costs nothing.
            self._every_s = int(text) / 1e6 / 3
        self._due_s = 0.0
        self._said = False

    def ready(self) -> None:
        """The parts of the service stand."""
        self._send(b"READY=1")

    def turn(self) -> None:
        """A round of the loop has ended."""
        if self._every_s is None:
            return
        now_s = self._monotonic()
        if now_s >= self._due_s:
            self._due_s = now_s + self._every_s
            self._send(b"WATCHDOG=1")

    def stopping(self) -> None:
        """The service was told to stop."""
        self._send(b"STOPPING=1")

    def reloading(self) -> None:
        """The service begins anew, and says `ready` again."""
        usec = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
        self._send(f"RELOADING=1\nMONOTONIC_USEC={usec}".encode())

    def _send(self, word: bytes) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as link:
                link.sendto(word, self._address)
        except OSError as error:
            if not self._said:
                _LOG.warning("systemd cannot be told %s: %s", word.decode(), error)
            self._said = True
