"""Who is logged in: random tokens, of which only keyed hashes are kept, in a file beside the store.

The key is made of the password's hash, so that another password ends every session. The file spares
people a log-in after each restart of the service; what is in it logs nobody in.
"""

from __future__ import annotations

import hashlib
import hmac
import logging
import os
import secrets
import threading
import time
from collections.abc import Callable
from pathlib import Path

import orjson

_log = logging.getLogger(__name__)

# Beside the store.
SESSIONS = "sessions.json"
# A phone at night should not ask for a password that was typed a week ago.
LASTING_S = 30 * 86_400
# Phones and desks of one household, many times over; the oldest goes.
_MOST = 50
_TOKEN_BYTES = 32
_LONGEST = 100


class Sessions:
    """All of them. Methods may be called from any thread.

    Parameters
    ----------
    password_hash
        What the key is made of.
    path
        The file.
    now_s
        Seconds since 1970: the wall clock, whatever clock the service has.
    """

    def __init__(self, password_hash: str, path: Path, now_s: Callable[[], float] = time.time) -> None:
        self._key = hashlib.sha256(b"sessions\0" + password_hash.encode()).digest()
        self._path = path
        self._now_s = now_s
        self._lock = threading.Lock()
        self._until_s = self._read()

    def begin(self) -> str:
        """The token of a new session, which no other has had."""
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        with self._lock:
            self._forget_old()
            self._until_s[self.mark(token)] = self._now_s() + LASTING_S
            self._write()
        return token

    def goes_on(self, token: str) -> bool:
        """Whether that is the token of a session that has not ended."""
        if len(token) > _LONGEST:
            return False
        # Found by its keyed hash: how long that takes tells nothing of the token.
        return self._until_s.get(self.mark(token), 0.0) > self._now_s()

    def end(self, token: str) -> None:
        """End one, if it is one."""
        with self._lock:
            if self._until_s.pop(self.mark(token[:_LONGEST]), None) is not None:
                self._write()

    def mark(self, token: str) -> str:
        """What is kept of a token: it tells sessions apart, and does not log in."""
        return hmac.digest(self._key, token.encode("utf-8", "replace"), "sha256").hex()

    def _forget_old(self) -> None:
        now_s = self._now_s()
        kept = sorted(((until, mark) for mark, until in self._until_s.items() if until > now_s), reverse=True)
        self._until_s = {mark: until for until, mark in kept[: _MOST - 1]}

    def _read(self) -> dict[str, float]:
        try:
            found = orjson.loads(self._path.read_bytes())
            return {str(mark): float(until) for mark, until in found.items()}
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, TypeError, AttributeError) as error:
            _log.warning("%s cannot be read, so everybody logs in again: %s", self._path, error)
            return {}

    def _write(self) -> None:
        """Whole or not at all; without it people log in again after the next start."""
        beside = self._path.with_name(f"{self._path.name}.new")
        try:
            with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
                file.write(orjson.dumps(self._until_s))
            beside.replace(self._path)
        except OSError as error:
            _log.warning("who is logged in could not be kept in %s: %s", self._path, error)
