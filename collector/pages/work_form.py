"""Somebody at the tank says that work begins, or is over: the form of it, and what it asks for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType
from typing import NamedTuple

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from collector.clock import Clock
from collector.links import Link, LinkError, Links
from collector.pages.access import VISITOR
from collector.pages.asking import Asker, fields
from collector.requests import Answer, Asked, BeginWork, EndWork
from rules import HOUR_US, KINDS

# How long work may be announced for with a tap; what takes longer is begun again, or on the command line.
LASTS: Mapping[str, int] = MappingProxyType(
    {"15 min": HOUR_US // 4, "45 min": 3 * HOUR_US // 4, "2 h": 2 * HOUR_US}
)
USUAL_LAST = "45 min"


class Choice(NamedTuple):
    """A kind of work: its code and its name."""

    kind: str
    name: str


CHOICES = tuple(Choice(name, name.replace("_", " ").capitalize()) for name in KINDS)


def begun_work(form: Mapping[str, str], tank: str, now_us: int) -> BeginWork:
    """The work that a form announces; 400 for one that is not of ours."""
    kind, lasts = form.get("kind", ""), form.get("for", "")
    if kind not in KINDS:
        raise HTTPException(400, f"There is no work {kind[:40]!r}. Go back and choose one.")
    if lasts not in LASTS:
        raise HTTPException(400, f"{lasts[:40]!r} is none of {', '.join(LASTS)}. Go back and choose one.")
    return BeginWork(tank, kind, now_us, now_us + LASTS[lasts])


class Offer(NamedTuple):
    """What a page with the form needs; `has_asked`: it was sent just now, and `answer` came of it.

    `address_of` is where an incident is answered, by its number.
    """

    form: str
    choices: tuple[Choice, ...]
    lasts: tuple[str, ...]
    usual: str
    has_asked: bool
    answer: Answer | None
    address_of: Callable[[int], str]


class WorkForm:
    """The form on the page that shows now."""

    def __init__(self, links: Links, asker: Asker, clock: Clock) -> None:
        self._links, self._asker, self._clock = links, asker, clock

    def offer(self, request: Request) -> Offer | None:
        """The form, for a page that is made now; None for a visitor who may not ask for anything."""
        visitor = VISITOR.get()
        if not visitor.may_ask:
            return None
        asked = request.query_params.get("asked")
        return Offer(
            self._links.form_text(self._clock.now_us(), visitor.tag),
            CHOICES,
            tuple(LASTS),
            USUAL_LAST,
            asked is not None,
            None if asked is None else self._asker.answer(asked[:100]),
            partial(self._address_of, visitor.who),
        )

    def _address_of(self, who: str, incident: int) -> str:
        # Much shorter than in a message: it stands in a page that somebody may log out of.
        text = self._links.text(Link(who, incident), self._clock.now_us(), HOUR_US)
        return f"/answer/{text}"

    async def take(self, request: Request) -> Response:
        """Ask for what the form says, and go back to the page that shows what came of it."""
        form, visitor = await fields(request), VISITOR.get()
        if not visitor.may_ask:
            raise HTTPException(403, "Work is announced by the link in a message, or at the machine.")
        seal, tank, now_us = form.get("form", ""), form.get("tank", ""), self._clock.now_us()
        try:
            self._links.check_form(seal, now_us, visitor.tag)
        except LinkError as error:
            text = "This form is too old, or of another page. Reload the page and try again."
            raise HTTPException(403, text) from error
        asked: Asked = EndWork(tank) if form.get("do") == "end" else begun_work(form, tank, now_us)
        number = await self._asker.ask(f"{seal}/{form.get('do', '')}/{tank}", visitor.who, asked)
        return RedirectResponse(f"/?asked={number}", 303)
