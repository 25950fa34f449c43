"""What every request must pass and every answer carries, while there is no password.

Pages are served on this machine only, by GET only, under a name that is ours, with a content security
policy that lets nothing in but our own files.
"""

from __future__ import annotations

from collections.abc import Collection
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from collector.configuration import PageConfiguration
from collector.errors import ConfigError

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


def require_loopback(page: PageConfiguration) -> None:
    """Refuse to be reachable from other machines.

    Raises
    ------
    ConfigError
        If page.listen is not an address of this machine alone.
    """
    if page.is_local:
        return
    raise ConfigError(
        f'page.listen: "{page.host}:{page.port}" would let other machines read along, and there is no '
        f'password yet: write "127.0.0.1:{page.port}" and reach it through an SSH tunnel, such as '
        f"`ssh -L {page.port}:127.0.0.1:{page.port} USER@THIS_MACHINE`, or wait for a Brinebell with "
        "passwords"
    )


def own_names(page: PageConfiguration) -> frozenset[str]:
    """Host names under which the pages answer: this machine's, and that of page.public_url."""
    names = {"localhost", "127.0.0.1", "::1", page.host.lower()}
    if page.public_url is not None:
        names.add((urlsplit(page.public_url).hostname or "localhost").lower())
    return frozenset(names)


class Guard:
    """ASGI middleware around the whole application.

    A foreign Host is refused: without a password, a web site whose name is made to point at 127.0.0.1
    could otherwise read the pages through its visitor's browser.
    """

    def __init__(self, app: ASGIApp, names: Collection[str]) -> None:
        self._app = app
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on; every answer gets the headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(HEADERS)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refusal = self._refusal(scope)
        await (self._app if refusal is None else refusal)(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        if scope["method"] not in ("GET", "HEAD"):
            return PlainTextResponse("Only GET here.\n", 405, {"allow": "GET, HEAD"})
        host = Headers(scope=scope).get("host", "")
        try:
            name = urlsplit(f"//{host}").hostname or ""
        except ValueError:
            name = ""
        if name.lower() not in self._names:
            return PlainTextResponse(
                "This page does not answer under that name; page.public_url can give it one.\n", 421
            )
        return None
