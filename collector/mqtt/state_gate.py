"""Whether states for others may be published: not where the broker's access list forbids it.

mosquitto 2.0.11 ends a connection on which something forbidden is published. With MQTT 5 it says why first;
with 3.1.1 it does not, so connections that end again and again right behind the first states count as that.
"""

from __future__ import annotations

import logging

from collector.mqtt.reasons import explain

_LOG = logging.getLogger(__name__)

# A refusal ends a connection in milliseconds; a network that fails does so at any time.
REFUSED_WITHIN_S = 3.0
REFUSALS = 3


class StateGate:
    """Open from when the subscriptions of a connection stand until it is lost, if the broker allows it."""

    def __init__(self) -> None:
        self.is_open = False
        self._is_forbidden = False
        self._first_sent_s: float | None = None
        self._refusals = 0

    def open(self) -> None:
        """A connection stands."""
        self.is_open = not self._is_forbidden
        self._first_sent_s = None

    def close(self) -> None:
        """It does no more."""
        self.is_open = False

    def sent(self, now_s: float) -> None:
        """Take note of when the first state of a connection was sent."""
        if self._first_sent_s is None:
            self._first_sent_s = now_s

    def lost(self, now_s: float) -> None:
        """A connection of a protocol that gives no reasons was lost."""
        if self._first_sent_s is None or not self.is_open:
            return
        if now_s - self._first_sent_s > REFUSED_WITHIN_S:
            self._refusals = 0
            return
        self._refusals += 1
        if self._refusals == REFUSALS:
            self._forbid("it ends the connection each time, and with MQTT 3.1.1 it cannot say why")

    def denied(self, reason: int) -> None:
        """The broker has refused a state."""
        if not self._is_forbidden:
            self._forbid(explain(reason))

    def _forbid(self, why: str) -> None:
        self._is_forbidden, self.is_open = True, False
        _LOG.error(
            "the broker does not let us publish states to brinebell/<tank>/#: %s. Give this user the rights "
            "in deploy/mosquitto/rights/service, or set [mqtt] publishes = false; until the next start none "
            "are published, readings and alarms go on as before",
            why,
        )
