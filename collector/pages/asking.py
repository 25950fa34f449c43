"""Asks the service for what somebody wants who looks at a page, and waits a moment for the answer."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from typing import NamedTuple, Protocol, Self, TypeAlias
from urllib.parse import parse_qsl

import anyio
from anyio import to_thread
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.requests import Request as HttpRequest

from collector.clock import Clock
from collector.links import Links
from collector.requests import Answer, Asked, Request

# The service looks twice a second, and the browser waits meanwhile.
_PATIENCE_S = 3.0
_LOOK_S = 0.1


class Box(Protocol):
    """What is needed of the store: a box into which requests are put."""

    def __enter__(self) -> Self: ...
    def __exit__(self, *exc_info: object) -> None: ...
    def ask(self, request: Request) -> None:
        """Write a request down; one whose id is known already changes nothing."""
        ...

    def answer(self, request: str) -> Answer | None:
        """What became of a request; None while it waits."""
        ...


BoxFactory: TypeAlias = Callable[[], Box]


class Answers(NamedTuple):
    """By what people answer who look at a page: links and forms, and the box into which requests go."""

    links: Links
    open_box: BoxFactory


class Asker:
    """Puts requests into the box."""

    def __init__(self, open_box: BoxFactory, clock: Clock) -> None:
        self._open_box, self._clock = open_box, clock

    async def ask(self, form: str, who: str, asked: Asked) -> str:
        """Ask, and wait shortly; return the id of the request.

        `form` is different on every page that is shown. The same one sent again, by a double tap or by
        reloading, is the same request.
        """
        number = f"page-{sha256(form.encode()).hexdigest()[:32]}"
        request = Request(number, self._clock.now_us(), who, asked)
        await to_thread.run_sync(self._put, request)
        with anyio.move_on_after(_PATIENCE_S):
            while await to_thread.run_sync(self.answer, number) is None:
                await anyio.sleep(_LOOK_S)
        return number

    def answer(self, number: str) -> Answer | None:
        """What became of a request; None while it waits, or if it was never asked."""
        with self._open_box() as box:
            return box.answer(number)

    def _put(self, request: Request) -> None:
        with self._open_box() as box:
            box.ask(request)


async def fields(request: HttpRequest) -> dict[str, str]:
    """The fields of a form; 400 for what is none."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise HTTPException(400, "This takes the forms of its own pages, and nothing else.")
    try:
        body = await request.body()
    except ClientDisconnect as error:
        raise HTTPException(400, "The form did not come whole.") from error
    try:
        return dict(parse_qsl(body.decode("ascii"), max_num_fields=10, strict_parsing=bool(body)))
    except ValueError as error:
        raise HTTPException(400, "The form cannot be read. Go back and send it again.") from error
