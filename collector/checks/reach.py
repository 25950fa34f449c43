"""Do the addresses lead where they should: the links in messages, and the sign of life?"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterator
from urllib.parse import urlsplit

from collector.checks.finding import Finding, Verdict
from collector.configuration import Configuration, PageConfiguration

# Nobody waits for a check as for a ring.
TIMEOUT_S = 10.0
_OURS = b"Brinebell</title>"
# A page is longer, and what tells it stands in its head.
_ENOUGH = 65_536


def check_reach(configuration: Configuration) -> Iterator[Finding]:
    """Fetch what a phone, or who waits for a sign of life, would be reached at."""
    page = configuration.page
    if page.enabled and page.public_url is not None:
        yield _links(page, page.public_url)
        if is_open(page.public_url):
            yield Finding(
                "links",
                Verdict.NOTE,
                "the links in messages go over plain http through other networks, where they can be read",
                "put TLS before the page, and give page.public_url an https:// address",
            )
    if configuration.sign_of_life_url is not None:
        yield _sign_of_life(configuration.sign_of_life_url)


def _links(page: PageConfiguration, address: str) -> Finding:
    if not _is_served(page):
        return Finding(
            "links",
            Verdict.NOTE,
            "where links lead cannot be looked at: the service does not run, or serves no page",
            "check again while it runs",
        )
    try:
        is_ours = _OURS in _fetched(address)
    except (OSError, ValueError) as error:
        return _nowhere(address, f"cannot be fetched ({_reason(error)})")
    if not is_ours:
        return _nowhere(address, "shows something else")
    return Finding("links", Verdict.WELL, f"{address} shows this page, as seen from this machine")


def _nowhere(address: str, what: str) -> Finding:
    return Finding(
        "links",
        Verdict.WRONG,
        f"links in messages lead nowhere: {address} {what}",
        "correct page.public_url, or what passes it on to page.listen (it must keep the host name); without "
        "page.public_url messages name the command instead",
    )


def _sign_of_life(address: str) -> Finding:
    # The address may hold a secret.
    host = urlsplit(address).hostname or "its host"
    try:
        _fetched(address)
    except (OSError, ValueError) as error:
        return Finding(
            "sign of life",
            Verdict.WRONG,
            f"{host} does not take it ({_reason(error)})",
            "correct [service] sign_of_life_url, or see whether this machine reaches the internet",
        )
    return Finding("sign of life", Verdict.WELL, f"{host} takes it")


def _fetched(address: str) -> bytes:
    from urllib.request import urlopen

    with urlopen(address, timeout=TIMEOUT_S) as answer:  # noqa: S310 - the settings allow http(s) alone
        body: bytes = answer.read(_ENOUGH)
    return body


def _is_served(page: PageConfiguration) -> bool:
    try:
        with socket.create_connection((page.host, page.port), TIMEOUT_S):
            return True
    except OSError:
        return False


def is_open(address: str) -> bool:
    """Whether it is plain http to a host that is not of a home network, as far as the address tells."""
    parts = urlsplit(address)
    host = parts.hostname or ""
    if parts.scheme != "http" or host == "localhost" or "." not in host:
        return False
    try:
        return not ipaddress.ip_address(host).is_private
    except ValueError:
        return not host.endswith((".local", ".lan", ".internal", ".home.arpa"))


def _reason(error: Exception) -> str:
    # An answer with a status says it itself.
    reason = None if hasattr(error, "code") else getattr(error, "reason", None)
    return str(reason or error or type(error).__name__)
