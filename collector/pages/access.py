"""Who looks at a page: somebody at this machine, who has logged in, or whom a reverse proxy names.

A page that only this machine can reach needs no log-in, as long as none is asked for. With a password,
or a header in which a reverse proxy says who it is, everybody must be known, from this machine too: a
proxy on it looks like anybody else.
"""

from __future__ import annotations

import ipaddress
import socket
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.requests import cookie_parser
from starlette.types import Scope

from collector.configuration import PageConfiguration
from collector.errors import ConfigError
from collector.pages.sessions import SESSIONS, Sessions
from collector.passwords import open_to_all

# What stands in the record for whoever asks from a page.
THE_PAGE = "the page"
_LONGEST_NAME = 100


@dataclass(frozen=True, slots=True)
class Visitor:
    """Somebody who looks: what the record calls them, what their forms are bound to, what they may.

    `is_known`: has logged in, or was named by a proxy. `may_ask`: may ask the service for something.
    """

    who: str = THE_PAGE
    tag: str = ""
    is_known: bool = False
    may_ask: bool = False
    has_session: bool = False


NOBODY = Visitor()
# Of the request that is answered in this context; handlers run in threads that inherit it.
VISITOR: ContextVar[Visitor] = ContextVar("visitor", default=NOBODY)


def require_access(page: PageConfiguration) -> None:
    """Refuse to be reachable from other machines by anybody.

    Raises
    ------
    ConfigError
        If page.listen is not an address of this machine alone, and neither a password nor a proxy is asked.
    """
    if page.is_local or page.asks_who:
        return
    raise ConfigError(f'page.listen: "{page.host}:{page.port}" {open_to_all(page.port)}')


class Access:
    """Tells who sends a request.

    Parameters
    ----------
    page
        What is asked for.
    folder
        Where sessions are kept.
    """

    def __init__(self, page: PageConfiguration, folder: Path) -> None:
        self.page = page
        self.sessions = (
            None if page.password_hash is None else Sessions(page.password_hash, folder / SESSIONS)
        )
        self._public = "" if page.public_url is None else page.public_url
        self._at_machine = Visitor(may_ask=page.public_url is None)

    @property
    def has_log_in(self) -> bool:
        """Whether there is a password to log in with."""
        return self.sessions is not None

    def visitor(self, scope: Scope) -> Visitor | None:
        """Who it is; None if that is to be found out first."""
        if not self.page.asks_who:
            return self._at_machine
        name = self._named_by_proxy(scope)
        if name is not None:
            return Visitor(name, f"proxy/{name}", is_known=True, may_ask=True)
        token = self.token(scope)
        if self.sessions is not None and token and self.sessions.goes_on(token):
            tag = self.sessions.mark(token)[:16]
            return Visitor(THE_PAGE, tag, is_known=True, may_ask=True, has_session=True)
        return None

    def is_welcome(self, scope: Scope) -> bool:
        """Whether the sender of a request that goes on is still known."""
        return self.visitor(scope) is not None

    def token(self, scope: Scope) -> str:
        """That of the session which the browser has, "" for none."""
        cookies = cookie_parser(Headers(scope=scope).get("cookie", ""))
        return cookies.get(self.cookie(scope), "")

    def cookie(self, scope: Scope) -> str:
        """Name of the cookie; the prefix makes browsers hold it to TLS and this host (RFC 6265bis)."""
        return "__Host-brinebell" if self.is_secure(scope) else "brinebell"

    def is_secure(self, scope: Scope) -> bool:
        """Whether the browser speaks TLS: with a proxy before us, under the name of page.public_url.

        Who lies about the name cheats nobody but himself.
        """
        if urlsplit(self._public).scheme != "https":
            return False
        return _place(f"//{Headers(scope=scope).get('host', '')}") == _place(self._public)

    def address(self, scope: Scope) -> str:
        """Address of whoever sends it: of the peer, or behind a trusted proxy the one that it tells."""
        peer = _peer(scope)
        if not self._is_proxy(peer):
            return peer
        told = [one.strip() for one in Headers(scope=scope).get("x-forwarded-for", "").split(",")]
        # Each proxy adds at the end whom it heard: what stands before the last stranger anybody can write.
        return next((one for one in reversed(told) if one and not self._is_proxy(one)), peer)

    def _named_by_proxy(self, scope: Scope) -> str | None:
        header = self.page.user_header
        if header is None or not self._is_proxy(_peer(scope)):
            return None
        names = Headers(scope=scope).getlist(header)
        name = names[0].strip() if len(names) == 1 else ""
        return name if name and name.isprintable() and len(name) <= _LONGEST_NAME else None

    def _is_proxy(self, address: str) -> bool:
        try:
            found = ipaddress.ip_address(address)
        except ValueError:
            return False
        return any(found in network for network in self.page.proxies)


def _peer(scope: Scope) -> str:
    address = (scope.get("client") or ("",))[0]
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return str(address)
    # A socket of both families tells IPv4 peers so.
    mapped = getattr(found, "ipv4_mapped", None)
    return str(mapped or found)


def _place(address: str) -> str:
    """Host and port of an address as browsers write them, without the usual ports; "" if it has none."""
    try:
        return urlsplit(address).netloc.lower().removesuffix(":443").removesuffix(":80")
    except ValueError:
        return ""


class OwnNames:
    """Host names under which the pages answer.

    This machine's, and that of page.public_url. Where others may reach the page, any address that is
    written in numbers too: a foreign web site has a name, and only a name can be made to point here.
    """

    def __init__(self, page: PageConfiguration) -> None:
        self._takes_numbers = not page.is_local
        self._public = _place(page.public_url or "")
        self._names = {"localhost", "127.0.0.1", "::1", page.host.lower()}
        if page.public_url is not None:
            self._names.add((urlsplit(page.public_url).hostname or "localhost").lower())
        if self._takes_numbers:
            own = socket.gethostname().lower()
            self._names |= {own, f"{own.partition('.')[0]}.local"}

    def is_own_origin(self, origin: str, host: str) -> bool:
        """Whether a form comes from a page of ours: of the name that it is sent to, or of the public one."""
        place = _place(origin)
        return bool(place) and place in (_place(f"//{host}"), self._public)

    def has(self, address: str) -> bool:
        """Whether "//host:port" or "http://host:port" is one of ours."""
        try:
            name = (urlsplit(address).hostname or "").lower()
            if name in self._names:
                return True
            return self._takes_numbers and bool(name) and bool(ipaddress.ip_address(name))
        except ValueError:
            return False
