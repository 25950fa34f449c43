"""What every request must pass and every answer carries, whoever it is.

Pages are served under names that are ours, with a content security policy that lets nothing in but our own
files. All are read by GET, and a few take a form of our own pages by POST.
"""

from __future__ import annotations

from collections.abc import Callable

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from collector.pages.access import OwnNames

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    # Our own pages are told where a form comes from; nobody else is.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "x-robots-tag": "noindex",
}
# A form of ours is a few short fields; a note of some thousand characters is the longest.
MOST_BYTES = 20_000


class Guard:
    """ASGI middleware around the whole application.

    `names` are host names that are ours, `takes_form` tells requests that a handler of forms waits for.

    A foreign Host is refused: without a password, a web site whose name is made to point at 127.0.0.1
    could otherwise read the pages through its visitor's browser.
    """

    def __init__(self, app: ASGIApp, names: OwnNames, takes_form: Callable[[Scope], bool]) -> None:
        self._app = app
        self._names = names
        self._takes_form = takes_form

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on; every answer gets the headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(HEADERS)
                # Files of ours are asked for anew, which costs a line where they have not changed.
                is_file = scope["path"].startswith("/static/")
                headers.setdefault("cache-control", "no-cache" if is_file else "no-store")
            await send(message)

        refusal = self._refusal(scope)
        await (self._app if refusal is None else refusal)(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        is_form = scope["method"] == "POST" and self._takes_form(scope)
        if scope["method"] not in ("GET", "HEAD") and not is_form:
            return PlainTextResponse("Only GET here.\n", 405, {"allow": "GET, HEAD"})
        headers = Headers(scope=scope)
        if not self._names.has(f"//{headers.get('host', '')}"):
            return PlainTextResponse(
                "This page does not answer under that name; page.public_url can give it one.\n", 421
            )
        if not is_form:
            return None
        # Every browser says where a form that it sends comes from.
        if "origin" in headers and not self._names.is_own_origin(headers["origin"], headers.get("host", "")):
            return PlainTextResponse("This form was sent by another page.\n", 403)
        length = headers.get("content-length", "")
        if not (length.isascii() and length.isdecimal() and int(length[:10]) <= MOST_BYTES):
            return PlainTextResponse("A form says its length, and is short.\n", 413)
        return None
