"""A sign of life to an address elsewhere: a plain GET, on a thread of its own that nobody waits for."""

from __future__ import annotations

import logging
import threading
from types import TracebackType
from typing import Self
from urllib.parse import urlsplit

_LOG = logging.getLogger(__name__)

# An address that takes longer is as good as none: the next sign is due in a minute.
TIMEOUT_S = 20.0


class WebSign:
    """Asks for a URL each time a sign is given; one that is given while it still asks is left out.

    The URL may hold a secret: only its host is logged.
    """

    def __init__(self, url: str, *, timeout_s: float = TIMEOUT_S) -> None:
        self._url, self._timeout_s = url, timeout_s
        self._host = urlsplit(url).hostname or ""
        self._is_due = threading.Event()
        self._is_closing = False
        self._has_failed = False
        # Nobody waits for it at a stop: it holds nothing but a socket.
        self._thread = threading.Thread(target=self._run, name="sign of life", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._is_closing = True
        self._is_due.set()

    def give(self) -> None:
        """Give a sign; returns at once."""
        self._is_due.set()

    def _run(self) -> None:
        while True:
            self._is_due.wait()
            self._is_due.clear()
            if self._is_closing:
                return
            self._ask()

    def _ask(self) -> None:
        from urllib.request import urlopen

        try:
            with urlopen(self._url, timeout=self._timeout_s):  # noqa: S310 - the settings allow http(s) alone
                pass
        except (OSError, ValueError) as error:  # the latter for an answer that is no HTTP
            if not self._has_failed:
                _LOG.warning(
                    "the sign of life does not reach %s (%s); it is tried again every minute, and not told "
                    "again until it has worked",
                    self._host,
                    getattr(error, "reason", None) or type(error).__name__,
                )
            self._has_failed = True
        else:
            if self._has_failed:
                _LOG.info("the sign of life reaches %s again", self._host)
            self._has_failed = False
