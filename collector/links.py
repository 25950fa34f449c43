"""Links by which one person answers from a phone: signed, good for a while, and of use for nothing else.

A link names an incident, or the test ring of its person. It is signed with HMAC-SHA256 (RFC 2104), cut to
128 bits as its section 5 allows, under a key of this service alone. Who has a link may answer with it: it
is as secret as the message that carries it, which is why it ends.
"""

from __future__ import annotations

import base64
import binascii
import hmac
import os
import secrets
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import orjson

from collector.errors import ConfigError
from rules import HOUR_US, MICROSECONDS

# The file of the key, beside the store.
LINK_KEY = "links.key"
# Who has not answered by then looks at the machine itself.
LASTING_US = 7 * 24 * HOUR_US
# As long as a page may stand open in a browser before its forms are of no use.
_FORM_LASTING_US = 12 * HOUR_US
_KEY_BYTES = 32
_SIGNATURE_BYTES = 16
# A longer one was never made: a person's name is some dozen characters.
_LONGEST = 500


class LinkError(Exception):
    """A link that is of no use; `is_expired` tells one that was good once from any other."""

    def __init__(self, text: str, *, is_expired: bool = False) -> None:
        super().__init__(text)
        self.is_expired = is_expired


@dataclass(frozen=True, slots=True)
class Link:
    """What a link is for: an incident, or the test ring of that person where there is none."""

    person: str
    incident: int | None


class Links:
    """Makes links and reads them again.

    Parameters
    ----------
    key
        32 secret bytes, see `link_key`.
    public_url
        Where the page can be reached from a phone.
    """

    def __init__(self, key: bytes, public_url: str) -> None:
        if len(key) != _KEY_BYTES:
            raise ValueError(f"a key has {_KEY_BYTES} bytes, not {len(key)}")
        self._key = key
        self._address = public_url.rstrip("/")

    def address(self, link: Link, now_us: int) -> str:
        """The whole address of a link that is made now."""
        return f"{self._address}/answer/{self.text(link, now_us)}"

    def text(self, link: Link, now_us: int, lasting_us: int = LASTING_US) -> str:
        """The last part of the address: letters, digits, - and _ only."""
        return self._sealed("link", [link.person, link.incident], now_us + lasting_us)

    def read(self, text: str, now_us: int) -> Link:
        """What a link is for.

        Raises
        ------
        LinkError
            If this service has not made it, or not so, or its time is over.
        """
        person, incident = self._unsealed("link", text, now_us)
        return Link(person, incident)

    def form_text(self, now_us: int, whose: str = "") -> str:
        """What a form on the page carries, so that no other page can send it; `whose` session's it is."""
        return self._sealed(f"form/{whose}", [secrets.token_hex(8)], now_us + _FORM_LASTING_US)

    def check_form(self, text: str, now_us: int, whose: str = "") -> None:
        """Refuse a form that no page of this service carried in that session.

        Raises
        ------
        LinkError
            As `read`.
        """
        self._unsealed(f"form/{whose}", text, now_us)

    def _sealed(self, purpose: str, values: list[object], until_us: int) -> str:
        content = orjson.dumps([*values, -(-until_us // MICROSECONDS)])
        return base64.urlsafe_b64encode(self._sign(purpose, content) + content).decode().rstrip("=")

    def _unsealed(self, purpose: str, text: str, now_us: int) -> list[Any]:
        content = b""
        if len(text) <= _LONGEST and text.isascii():
            with suppress(binascii.Error):
                raw = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
                # The decoder leaves out what is no letter of its own: only the one spelling is good.
                if base64.urlsafe_b64encode(raw).decode().rstrip("=") == text:
                    signature, content = raw[:_SIGNATURE_BYTES], raw[_SIGNATURE_BYTES:]
        if not content or not hmac.compare_digest(signature, self._sign(purpose, content)):
            raise LinkError("this link was not made here, or is not whole")
        values: list[Any] = orjson.loads(content)
        until_s = values.pop()
        if now_us >= until_s * MICROSECONDS:
            raise LinkError("this link has expired", is_expired=True)
        return values

    def _sign(self, purpose: str, content: bytes) -> bytes:
        return hmac.digest(self._key, purpose.encode() + b"\0" + content, "sha256")[:_SIGNATURE_BYTES]


def link_key(path: Path) -> bytes:
    """The key of this service, from a file that only its user may read; made where there is none yet.

    Raises
    ------
    ConfigError
        If the file cannot be read or made, or is not a key.
    """
    try:
        with suppress(FileExistsError):
            _make_key(path)
        key = path.read_bytes()
    except OSError as error:
        raise ConfigError(f"{path}, the key of the links in messages: {error.strerror}") from error
    if len(key) != _KEY_BYTES:
        raise ConfigError(
            f"{path} is not the key of the links in messages ({len(key)} bytes instead of {_KEY_BYTES}): "
            "take it away, and a new one is made; links that were sent are of no use then"
        )
    return key


def _make_key(path: Path) -> None:
    """Write it beside and link it to its name: a kill leaves a whole key or none."""
    if path.exists():
        return
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            file.write(secrets.token_bytes(_KEY_BYTES))
            file.flush()
            os.fsync(file.fileno())
        os.link(beside, path)
    finally:
        beside.unlink(missing_ok=True)
