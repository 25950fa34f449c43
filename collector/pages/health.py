"""How the service is, for what watches over services: a container's health check, a script, a machine."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any, TypeAlias

import orjson
from starlette.requests import Request
from starlette.responses import Response

from collector.pages.access import NOBODY, VISITOR

HEALTH = "/health.json"
# What a stranger may know: a container's health check does not log in.
_OPEN = ("verdict", "storing")
# What was found at the last look, as plain values; None if the loop of the service stands still.
HealthSource: TypeAlias = Callable[[], dict[str, Any] | None]


def health_page(source: HealthSource) -> Callable[[Request], Awaitable[Response]]:
    """Answer 200 while the service does its work, 503 if it stands still or stores nothing.

    What is wrong around it, such as a board that is gone, is told in the answer: the service does not fail.
    """

    async def answer(_: Request) -> Response:
        found = source()
        if found is None:
            found = {"verdict": "wrong", "storing": False, "findings": [], "text": "the service stands still"}
        status = 200 if found["storing"] else 503
        if VISITOR.get() is NOBODY:
            found = {key: found[key] for key in _OPEN}
        # Never from a cache: it is of this moment.
        headers = {"Cache-Control": "no-store"}
        return Response(orjson.dumps(found), status, headers, media_type="application/json")

    return answer
