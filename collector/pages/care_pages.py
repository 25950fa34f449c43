"""The page of care and plan, and its forms: plan, end and cancel work, note a calibration."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from collector.care_requests import LONGEST_NOTE, RecordCalibration
from collector.clock import Clock
from collector.links import LinkError, Links
from collector.pages.access import VISITOR
from collector.pages.asking import Asker, fields
from collector.pages.care import CareView, message_rows
from collector.pages.labels import Labels
from collector.pages.moments import local
from collector.pages.record import MessagesSource, Record
from collector.pages.work_form import CHOICES, LASTS, USUAL_LAST
from collector.requests import Asked, BeginWork, CancelWork, EndWork
from rules import HOUR_US, KINDS, MICROSECONDS

CARE = "/care"
_DAY_US = 24 * HOUR_US
# Common practice, no source: pH electrodes monthly, conductivity cells twice a year.
DUE: Mapping[str, int | None] = MappingProxyType(
    {
        "in 2 weeks": 14,
        "in a month": 30,
        "in 3 months": 91,
        "in half a year": 182,
        "in a year": 365,
        "not planned": None,
    }
)
_USUAL_DUE = "in a month"
_FARTHEST_DAYS = 366


class CarePages:
    """The handlers.

    Parameters
    ----------
    view, labels
        Make the page, and know what things are called.
    opened
        The record.
    messages
        The last message of each topic.
    clock
        The service's.
    render
        Makes a page of the name of a template and its values.
    links, asker
        Seal forms and ask for what they say; None where nothing can be asked.
    """

    def __init__(
        self,
        view: CareView,
        labels: Labels,
        opened: Callable[[], Record],
        messages: MessagesSource | None,
        clock: Clock,
        render: Callable[..., Response],
        links: Links | None = None,
        asker: Asker | None = None,
    ) -> None:
        self._view, self._labels, self._opened = view, labels, opened
        self._messages, self._clock, self._render = messages, clock, render
        self._links, self._asker = links, asker

    @property
    def takes_forms(self) -> bool:
        """Whether anything can be asked from it."""
        return self._asker is not None

    def show(self, request: Request) -> Response:
        """The page."""
        now_us = self._clock.now_us()
        asked, seal = request.query_params.get("asked"), ""
        if self._links is not None and VISITOR.get().may_ask:
            seal = self._links.form_text(now_us, VISITOR.get().tag)
        is_told = asked is not None and self._asker is not None and bool(seal)
        return self._render(
            "care.html",
            tanks=self._view.look(self._opened(), now_us),
            messages=None if self._messages is None else message_rows(self._messages(), now_us),
            form=seal,
            choices=CHOICES,
            lasts=tuple(LASTS),
            usual=USUAL_LAST,
            dues=tuple(DUE),
            usual_due=_USUAL_DUE,
            longest_note=LONGEST_NOTE,
            has_asked=is_told,
            answer=self._asker.answer(asked[:100]) if is_told and self._asker and asked else None,
        )

    async def take(self, request: Request) -> Response:
        """Ask for what a form says, and go back to the page that shows what came of it."""
        form, visitor, now_us = await fields(request), VISITOR.get(), self._clock.now_us()
        if self._links is None or self._asker is None or not visitor.may_ask:
            raise HTTPException(403, "This is asked for at the machine, with `brinebell work`.")
        seal = form.get("form", "")
        try:
            self._links.check_form(seal, now_us, visitor.tag)
        except LinkError as error:
            text = "This form is too old, or of another page. Reload the page and try again."
            raise HTTPException(403, text) from error
        asked = self._asked(form, now_us)
        number = await self._asker.ask(f"{seal}/{asked!r}", visitor.who, asked)
        return RedirectResponse(f"{CARE}?asked={number}", 303)

    def _asked(self, form: Mapping[str, str], now_us: int) -> Asked:
        tank = form.get("tank", "")
        if tank not in self._labels.tanks:
            raise HTTPException(400, f"There is no tank {tank[:40]!r}.")
        match form.get("do"):
            case "calibrated":
                return self._calibration(form, tank, now_us)
            case "plan":
                kind, lasts = _one_of(KINDS, form, "kind"), LASTS[_one_of(LASTS, form, "for")]
                begin_us = _instant(form.get("starts", ""), self._labels.time_zone(tank), now_us)
                if begin_us < now_us - HOUR_US:
                    raise HTTPException(400, "That is over. Work is planned ahead, or begun now.")
                return BeginWork(tank, kind, begin_us, begin_us + lasts)
            case "end":
                return EndWork(tank, _one_of(KINDS, form, "kind"))
            case "cancel":
                text = form.get("from", "")
                from_us = int(text) if text.isascii() and text.isdecimal() and len(text) < 18 else 0
                return CancelWork(tank, _one_of(KINDS, form, "kind"), from_us)
        raise HTTPException(400, "This form asks for nothing. Go back and try again.")

    def _calibration(self, form: Mapping[str, str], tank: str, now_us: int) -> RecordCalibration:
        series, zone = form.get("series", ""), self._labels.time_zone(tank)
        if not self._labels.is_configured(tank, series):
            raise HTTPException(400, f"There is no series {series[:40]!r}.")
        days = DUE[_one_of(DUE, form, "due")]
        on = form.get("on", "")
        # Of today it was now; of another day at noon, which is that day in every zone nearby.
        done_us = now_us
        if on != f"{local(now_us, zone):%Y-%m-%d}":
            done_us = _instant(f"{on}T12:00", zone, now_us)
        note = " ".join(form.get("note", "").split())
        asked = RecordCalibration(
            tank, series, done_us, None if days is None else done_us + days * _DAY_US, note
        )
        wrong = asked.what_is_wrong(now_us)
        if wrong is not None:
            raise HTTPException(400, f"{wrong[:1].upper()}{wrong[1:]}. Go back and change it.")
        return asked


def _one_of(valid: Sequence[str] | Mapping[str, object], form: Mapping[str, str], key: str) -> str:
    text = form.get(key, "")
    if text not in valid:
        raise HTTPException(400, f"{text[:40]!r} is none of {', '.join(valid)}. Go back and choose one.")
    return text


def _instant(text: str, zone: str, now_us: int) -> int:
    """Of a time on the tank's wall, as browsers write it; 400 for any other and for one that is years off."""
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is not None:
            raise ValueError(text)
        if abs(at - local(now_us, zone).replace(tzinfo=None)) > timedelta(days=_FARTHEST_DAYS):
            raise HTTPException(400, f"{text[:40]} is more than a year away. Go back and change it.")
        return round(at.replace(tzinfo=ZoneInfo(zone)).timestamp()) * MICROSECONDS
    except (ValueError, OverflowError) as error:
        raise HTTPException(400, f"{text[:40]!r} is no date and time. Go back and change it.") from error
