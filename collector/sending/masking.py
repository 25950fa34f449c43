"""Keeps what is secret in a channel's address out of reasons, logs and the store.

In an apprise URL anything may be the secret: the host is a token with one service, the path with
another. So every part of it is masked wherever it shows, except scheme and option names.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import quote, quote_plus, unquote, unquote_plus

MASK = "***"
# Two characters guess no secret, and masking them would make the text unreadable.
_SHORTEST = 3
_OPTION_NAME = re.compile(r"(?<=[?&])[^=&]*=")
_SEPARATORS = re.compile(r"[/?&=@:#,\s]+")
_ADDRESS = re.compile(r"\b([A-Za-z][A-Za-z0-9+.-]*)://\S+")
# What the HTTP library says of a request that failed: the path is the token with many services.
_REQUEST_PATH = re.compile(r"(with url:) \S+")


class Mask:
    """Replaces every part of these URLs by asterisks in a text."""

    def __init__(self, urls: Iterable[str]) -> None:
        parts: set[str] = set()
        for url in urls:
            parts |= _parts(url)
        longest_first = sorted(parts, key=len, reverse=True)
        self._parts = (
            re.compile("|".join(map(re.escape, longest_first)), re.IGNORECASE) if longest_first else None
        )

    def __call__(self, text: str) -> str:
        """Return the text without secrets."""
        text = _ADDRESS.sub(rf"\1://{MASK}", text)
        text = _REQUEST_PATH.sub(rf"\1 {MASK}", text)
        return text if self._parts is None else self._parts.sub(MASK, text)


def _parts(url: str) -> set[str]:
    """Every part of a URL that may show, in each spelling in which it may."""
    rest = url.partition("://")[2] or url
    found: set[str] = set()
    for part in _SEPARATORS.split(_OPTION_NAME.sub("&", rest)):
        plain = unquote(part)
        spellings = {part, plain, unquote_plus(part), quote(plain, safe=""), quote_plus(plain)}
        # A part that holds separators of its own may show in pieces: an address in a query, decoded.
        spellings.update(_SEPARATORS.split(plain))
        found |= {spelling for spelling in spellings if len(spelling) >= _SHORTEST}
    return found
