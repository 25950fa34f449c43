"""The door: everybody is known before a page is made, and here they log in and out.

Open to all are the log-in itself, the style sheet, whether the service is well (and no word more), and links
in messages, which carry their own right and lead to their one incident alone.
"""

from __future__ import annotations

import logging
import math
import re
from collections.abc import Callable
from urllib.parse import quote

from anyio import CapacityLimiter, to_thread
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from collector.pages.access import NOBODY, VISITOR, Access, OwnNames
from collector.pages.asking import fields
from collector.pages.attempts import Attempts
from collector.pages.health import HEALTH
from collector.pages.sessions import LASTING_S
from collector.passwords import is_password

_log = logging.getLogger(__name__)

LOG_IN, LOG_OUT = "/log-in", "/log-out"
_OPEN = ("/static/", "/answer/")
# What is read by scripts: a page to log in on would be taken for the answer.
_READ_BY_SCRIPTS = ("/now.json", "/live")
# A path of ours, and a query: never the beginning of another host's address.
_OWN_PATH = re.compile(r"/(?![/\\])[A-Za-z0-9_.~%/-]*(\?[A-Za-z0-9_.~%=&+-]*)?")
_LONGEST_PATH = 500

Render = Callable[..., Response]


class Door:
    """ASGI middleware around the routes: finds out who it is, or sends them to log in."""

    def __init__(self, app: ASGIApp, access: Access, names: OwnNames) -> None:
        self._app, self._access, self._names = app, access, names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with the visitor set."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        visitor = self._access.visitor(scope)
        refusal = None
        if visitor is None and not _is_open(scope["path"]):
            refusal = self._refusal(scope)
        elif scope["method"] == "POST" and not self._is_from_own_page(scope, visitor is not None):
            refusal = PlainTextResponse("This form was sent by another page.\n", 403)
        VISITOR.set(visitor or NOBODY)
        await (self._app if refusal is None else refusal)(scope, receive, send)

    def _refusal(self, scope: Scope) -> Response:
        if not self._access.has_log_in:
            return PlainTextResponse(
                "This page is reached through the reverse proxy that [page] proxies names, which says in "
                "[page] user_header who has logged in there.\n",
                403,
            )
        if scope["path"] in _READ_BY_SCRIPTS:
            return PlainTextResponse("Log in first.\n", 401)
        to = scope["path"]
        if scope.get("query_string"):
            to += f"?{scope['query_string'].decode('ascii', 'replace')}"
        address = LOG_IN if scope["method"] == "POST" or to == "/" else f"{LOG_IN}?to={quote(to, safe='')}"
        return RedirectResponse(address, 303)

    def _is_from_own_page(self, scope: Scope, is_known: bool) -> bool:
        """Whether a form comes from a page of ours, where a logged-in browser could be made to send it.

        Every browser says which page sent a form, and no page can make it lie.
        """
        if not self._access.page.asks_who or (not is_known and scope["path"] != LOG_IN):
            return True
        headers = Headers(scope=scope)
        return self._names.is_own_origin(headers.get("origin", ""), headers.get("host", ""))


class LogInPages:
    """Logs in and out.

    Parameters
    ----------
    access
        Whose sessions they are.
    render
        Makes a page of the name of a template and its values.
    attempts
        Counts tries.
    """

    def __init__(self, access: Access, render: Render, attempts: Attempts | None = None) -> None:
        self._access, self._render = access, render
        self._attempts = Attempts() if attempts is None else attempts
        # One after the other: each takes as much memory as a hash does.
        self._one_at_a_time = CapacityLimiter(1)

    def show(self, request: Request) -> Response:
        """The form."""
        return self._form(own_path(request.query_params.get("to", "")))

    async def take(self, request: Request) -> Response:
        """Log in, into a session of its own that ends any other one of this browser."""
        form = await fields(request)
        sessions, known = self._access.sessions, self._access.page.password_hash
        if sessions is None or known is None:
            raise HTTPException(404)
        to, address = own_path(form.get("to", "")), self._access.address(request.scope)
        wait_s = self._attempts.take(address)
        if wait_s > 0.0:
            _log.warning("log-in from %s refused: too many tries", address)
            return self._form(to, "Too many tries.", wait_s=wait_s)
        is_right = await to_thread.run_sync(
            is_password, form.get("password", ""), known, limiter=self._one_at_a_time
        )
        if not is_right:
            _log.warning("log-in from %s with a wrong password", address)
            return self._form(to, "That is not the password.")
        self._attempts.give_back(address)
        sessions.end(self._access.token(request.scope))
        token = sessions.begin()
        _log.info("log-in from %s", address)
        answer = RedirectResponse(to or "/", 303)
        answer.set_cookie(
            self._access.cookie(request.scope),
            token,
            max_age=LASTING_S,
            secure=self._access.is_secure(request.scope),
            httponly=True,
            # Lax, and not strict: who follows a link to the page is not asked to log in again.
            samesite="lax",
        )
        return answer

    def ask_out(self, _: Request) -> Response:
        """Ask whether it is meant."""
        return self._render("log_out.html")

    def leave(self, request: Request) -> Response:
        """Log out: the session ends here, not only in the browser."""
        sessions = self._access.sessions
        if sessions is not None:
            sessions.end(self._access.token(request.scope))
        answer = RedirectResponse(LOG_IN, 303)
        answer.delete_cookie(
            self._access.cookie(request.scope),
            secure=self._access.is_secure(request.scope),
            httponly=True,
            samesite="lax",
        )
        return answer

    def _form(self, to: str, wrong: str = "", *, wait_s: float = 0.0) -> Response:
        status, headers = (200, None) if not wrong else (403, None)
        minutes = math.ceil(wait_s / 60)
        if wait_s:
            status, headers = 429, {"retry-after": str(math.ceil(wait_s))}
        return self._render(
            "log_in.html", status=status, headers=headers, to=to, wrong=wrong, minutes=minutes
        )


def own_path(text: str) -> str:
    """A path of ours to go on to, "" for anything else."""
    is_own = len(text) <= _LONGEST_PATH and _OWN_PATH.fullmatch(text) is not None
    return text if is_own and not text.startswith((LOG_IN, LOG_OUT)) else ""


def _is_open(path: str) -> bool:
    return path in (LOG_IN, HEALTH) or path.startswith(_OPEN)
