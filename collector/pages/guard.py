"""What every request must pass and every answer carries, while there is no password.

Pages are served on this machine only, under a name that is ours, with a content security policy that lets
nothing in but our own files. All are read by GET, and a few take a form of our own pages by POST.
"""

from __future__ import annotations

from collections.abc import Collection
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from collector.configuration import PageConfiguration
from collector.errors import ConfigError

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action {}; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": _POLICY.format("'none'"),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "x-robots-tag": "noindex",
}
# A page with a form must be able to send it, and its browser to say where it comes from.
FORM_HEADERS = {
    "content-security-policy": _POLICY.format("'self'"),
    "referrer-policy": "same-origin",
}
# Where forms are taken: of answers to messages, of work announced from the page that shows now, and of what
# people say of incidents.
ANSWERS, WORK, INCIDENTS = "/answer/", "/work", "/incidents/"
# Pages with forms that only ask for another page.
_ASKING = ("/incidents", "/history", "/series/", "/what-if")
# A form of ours is a few short fields; a note of some thousand characters is the longest.
MOST_BYTES = 20_000


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

    `names` are host names that are ours, `forms` those of `ANSWERS` and `WORK` that are taken.

    A foreign Host is refused: without a password, a web site whose name is made to point at 127.0.0.1
    could otherwise read the pages through its visitor's browser.
    """

    def __init__(self, app: ASGIApp, names: Collection[str], forms: Collection[str] = ()) -> None:
        self._app = app
        self._names = names
        self._forms = tuple(forms)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on; every answer gets the headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(HEADERS)
                if scope["path"].startswith(_ASKING):
                    headers["content-security-policy"] = FORM_HEADERS["content-security-policy"]
                if self._takes_forms(scope["path"]) or (scope["path"] == "/" and WORK in self._forms):
                    headers.update(FORM_HEADERS)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refusal = self._refusal(scope)
        await (self._app if refusal is None else refusal)(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        is_form = scope["method"] == "POST" and self._takes_forms(scope["path"])
        if scope["method"] not in ("GET", "HEAD") and not is_form:
            return PlainTextResponse("Only GET here.\n", 405, {"allow": "GET, HEAD"})
        headers = Headers(scope=scope)
        if self._is_foreign(f"//{headers.get('host', '')}"):
            return PlainTextResponse(
                "This page does not answer under that name; page.public_url can give it one.\n", 421
            )
        if not is_form:
            return None
        # Every browser says where a form that it sends comes from.
        if "origin" in headers and self._is_foreign(headers["origin"]):
            return PlainTextResponse("This form was sent by another page.\n", 403)
        length = headers.get("content-length", "")
        if not (length.isascii() and length.isdecimal() and int(length[:10]) <= MOST_BYTES):
            return PlainTextResponse("A form says its length, and is short.\n", 413)
        return None

    def _takes_forms(self, path: str) -> bool:
        return path.startswith(self._forms) if self._forms else False

    def _is_foreign(self, address: str) -> bool:
        try:
            name = urlsplit(address).hostname or ""
        except ValueError:
            name = ""
        return name.lower() not in self._names
