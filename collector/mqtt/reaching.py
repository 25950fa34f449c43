"""Reaching a broker: an attempt that may take its time, and the pauses between attempts."""

from __future__ import annotations

import threading
from collections.abc import Callable

from collector.mqtt.connection import Connection

# First pause before connecting again, and the longest: a broker that restarts is back in a second or two,
# and one that is down for hours should not have its network filled with attempts.
FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 60.0


class Reaching:
    """An attempt to reach a broker, in a thread of its own, for names and networks may take their time."""

    def __init__(self, connection: Connection, when_done: Callable[[], None]) -> None:
        self.connection = connection
        self.error: Exception | None = None
        self.is_done = False
        self._when_done = when_done
        # Nobody waits for it at a stop: it holds nothing but a socket.
        threading.Thread(target=self._run, name="brinebell mqtt connect", daemon=True).start()

    def _run(self) -> None:
        try:
            self.connection.open()
        except (OSError, ValueError) as error:
            self.error = error
        self.is_done = True
        self._when_done()


class Pauses:
    """Pauses between attempts: doubling, spread by chance so that many clients do not come at once."""

    def __init__(self, jitter: Callable[[], float]) -> None:
        self._jitter = jitter
        self._pause_s = FIRST_PAUSE_S

    @property
    def is_long(self) -> bool:
        """Whether several attempts have failed."""
        return self._pause_s >= 8 * FIRST_PAUSE_S

    def next(self) -> float:
        """Seconds to wait now."""
        pause_s, self._pause_s = self._pause_s, min(2 * self._pause_s, LONGEST_PAUSE_S)
        return pause_s * (0.5 + 0.5 * self._jitter())

    def begin_anew(self) -> None:
        """Begin with the shortest pause again."""
        self._pause_s = FIRST_PAUSE_S
