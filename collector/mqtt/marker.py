"""The marker that tells backlog from what is live, and what to think if it does not come back."""

from __future__ import annotations

import secrets

# Without our marker on a quiet line for so long, the broker does not let us have it: the line is live.
MARKER_LIMIT_S = 30.0
# More messages than this at once are a backlog being drained, in which the marker has its place.
QUIET_MESSAGES = 10


class Marker:
    """The marker that is on its way, if one is."""

    def __init__(self) -> None:
        self._payload: bytes | None = None
        self._since_s = 0.0

    def make(self, now_s: float) -> bytes:
        """Make a new one in place of any other."""
        self._payload, self._since_s = secrets.token_hex(8).encode(), now_s
        return self._payload

    def forget(self) -> None:
        """Wait for none."""
        self._payload = None

    def is_this(self, payload: bytes) -> bool:
        """Whether this payload is the marker's, and no older one's."""
        return self._payload is not None and payload == self._payload

    def see(self, messages: int, now_s: float) -> None:
        """Take note of how many messages came at once: a backlog that is being drained lies before it."""
        if messages > QUIET_MESSAGES:
            self._since_s = now_s

    def is_overdue(self, now_s: float) -> bool:
        """Whether it should have come back on a quiet line."""
        return self._payload is not None and now_s - self._since_s > MARKER_LIMIT_S
