"""A verdict on an incident, or a note beside it, given on its page: the form, and what it asks for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from collector.clock import Clock
from collector.links import LinkError, Links
from collector.pages.access import VISITOR
from collector.pages.asking import Asker, fields
from collector.pages.spans import instant_of, local_text
from collector.requests import Answer
from collector.reviews import (
    MOST_CHARACTERS,
    VERDICTS,
    AboutReviews,
    AddNote,
    GiveVerdict,
    StrikeNote,
    Verdict,
)
from rules import CAUSES

# What the button says that takes a verdict back.
TAKE_BACK = "none"
_LONGEST_ID = 18


class Review(NamedTuple):
    """What a page with the form needs; `has_asked`: it was sent just now, and `answer` came of it."""

    form: str
    verdicts: tuple[tuple[str, str], ...]
    causes: tuple[tuple[str, str], ...]
    began: str
    ring_by: str
    most: int
    has_asked: bool
    answer: Answer | None


class ReviewForm:
    """The form on the page of an incident."""

    def __init__(self, links: Links, asker: Asker, clock: Clock) -> None:
        self._links, self._asker, self._clock = links, asker, clock

    def offer(self, request: Request, said: Verdict | None, zone: str) -> Review | None:
        """The form, for a page that is made now; None for a visitor who may not ask for anything."""
        visitor = VISITOR.get()
        if not visitor.may_ask:
            return None
        asked = request.query_params.get("asked")
        began_us, ring_by_us = (None, None) if said is None else (said.began_us, said.ring_by_us)
        return Review(
            self._links.form_text(self._clock.now_us(), visitor.tag),
            tuple(VERDICTS.items()),
            tuple(sorted((one.code, one.title) for one in CAUSES.values())),
            "" if began_us is None else local_text(began_us, zone),
            "" if ring_by_us is None else local_text(ring_by_us, zone),
            MOST_CHARACTERS,
            asked is not None,
            None if asked is None else self._asker.answer(asked[:100]),
        )

    async def take(self, request: Request, zone: str) -> Response:
        """Ask for what the form says, and go back to the page that shows what came of it."""
        form, visitor = await fields(request), VISITOR.get()
        if not visitor.may_ask:
            raise HTTPException(403, "What an incident was is said at the machine, or by whom has logged in.")
        try:
            self._links.check_form(form.get("form", ""), self._clock.now_us(), visitor.tag)
        except LinkError as error:
            text = "This form is too old, or of another page. Reload the page and try again."
            raise HTTPException(403, text) from error
        number = request.path_params["number"]
        asked = asked_of(form, number, zone)
        request_id = await self._asker.ask(f"{sorted(form.items())}/{number}", visitor.who, asked)
        return RedirectResponse(f"/incidents/{number}?asked={request_id}#review", 303)


def asked_of(form: Mapping[str, str], number: int, zone: str) -> AboutReviews:
    """What a form asks for; 400 for one that is not of ours."""
    if "note" in form:
        return AddNote(number, _plain_text(form["note"]))
    if "strike" in form:
        note = form["strike"]
        if not (note.isascii() and note.isdecimal() and len(note) <= _LONGEST_ID):
            raise HTTPException(400, f"strike={note[:40]} is no note. Reload the page and try again.")
        return StrikeNote(number, int(note))
    verdict = form.get("verdict", "")
    if verdict == TAKE_BACK:
        return GiveVerdict(number, "")
    if verdict not in VERDICTS:
        raise HTTPException(
            400, f"{verdict[:40]!r} is none of {', '.join(VERDICTS)}. Go back and choose one."
        )
    return GiveVerdict(
        number,
        verdict,
        form.get("cause", ""),
        instant_of("began", form.get("began", ""), zone),
        instant_of("ring_by", form.get("ring_by", ""), zone),
    )


def _plain_text(text: str) -> str:
    """Lines as people write them, without what no eye sees."""
    lines = text.replace("\r\n", "\n").split("\n")
    return "\n".join("".join(one for one in line if one.isprintable()) for line in lines).strip()
