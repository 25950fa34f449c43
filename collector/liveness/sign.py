"""The sign of life: given at the end of a round of the loop, and only while what comes in is stored."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Protocol

import orjson

from collector.liveness.systemd import Systemd
from collector.liveness.web import WebSign

_LOG = logging.getLogger(__name__)

# Who listens may think the service dead after three signs that did not come.
EVERY_S = 60.0
# A busy store refuses for seconds; a full disk for longer.
REFUSED_S = 120.0


class Line(Protocol):
    """What is needed of the session with the broker."""

    def sign(self, payload: bytes) -> bool:
        """Publish a sign of life; False where no connection takes it."""
        ...


class SignOfLife:
    """Gives signs to systemd, over MQTT and to a URL.

    systemd is told of every round: a restart mends a loop that hangs, but no full disk. The others are told
    once a minute, and not while the store has refused for two minutes: then a service lives that does not do
    its job.

    Parameters
    ----------
    line
        The session with the broker.
    systemd, web
        Who is told beside it; `web` None for nobody.
    now_text
        Tank time, RFC 3339.
    """

    def __init__(
        self,
        line: Line,
        systemd: Systemd,
        web: WebSign | None,
        now_text: Callable[[], str],
        *,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._line, self._systemd, self._web = line, systemd, web
        self._now_text, self._monotonic = now_text, monotonic
        self._line_due_s = self._web_due_s = 0.0
        self._refused_since_s: float | None = None
        self._is_withheld = False

    def ready(self) -> None:
        """The parts of the service stand."""
        self._systemd.ready()

    def stopping(self) -> None:
        """The loop has ended because it was told to."""
        self._systemd.stopping()

    def reloading(self) -> None:
        """The loop has ended because another one takes over."""
        self._systemd.reloading()

    def turn(self, *, is_refused: bool) -> None:
        """A round has ended; `is_refused` says that the store refuses what comes in."""
        self._systemd.turn()
        now_s = self._monotonic()
        if self._withholds(now_s, is_refused=is_refused):
            return
        if now_s >= self._line_due_s:
            payload = orjson.dumps({"at": self._now_text(), "every_s": round(EVERY_S)})
            # A new connection gets one at once.
            if self._line.sign(payload):
                self._line_due_s = now_s + EVERY_S
        if self._web is not None and now_s >= self._web_due_s:
            self._web_due_s = now_s + EVERY_S
            self._web.give()

    def _withholds(self, now_s: float, *, is_refused: bool) -> bool:
        if not is_refused:
            self._refused_since_s = None
            self._is_withheld = False
            return False
        if self._refused_since_s is None:
            self._refused_since_s = now_s
        if now_s - self._refused_since_s < REFUSED_S:
            return False
        if not self._is_withheld:
            _LOG.error("no sign of life is given until the store works again")
        self._is_withheld = True
        return True
