"""The pages behind the link in a message: what is wrong, and answering it with a tap and a confirmation.

A page that is only looked at changes nothing, whatever fetches it: what shows previews of links does.
An answer is a form that is sent. The link itself says who answers, and for what; there is no other log-in.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from collector.alarm_requests import Acknowledge, AnswerTestRing, Shelve
from collector.clock import Clock
from collector.links import Link, LinkError, Links
from collector.pages.asking import Asker, fields
from collector.pages.incidents import IncidentRow, incident_row
from collector.pages.labels import Labels
from collector.pages.record import IncidentRecord, Record
from collector.pages.work_form import CHOICES, LASTS, USUAL_LAST, begun_work
from collector.requests import Asked
from rules import HOUR_US, AlarmState

_EXPIRED = (
    "This link has expired. Newer messages carry newer ones; at the machine, `brinebell incidents` shows "
    "what is open and `brinebell acknowledge` answers it."
)
_UNKNOWN = "There is no such link. Was it copied whole? Open it from the message itself."


@dataclass(frozen=True, slots=True)
class Deed:
    """Something to do with a tap: how it is called, what it means, and what the confirming button says."""

    name: str
    meaning: str
    button: str


ACKNOWLEDGE = "acknowledge"
DEEDS: Mapping[str, Deed] = MappingProxyType(
    {
        ACKNOWLEDGE: Deed(
            "Acknowledge",
            "You have seen it and see to it: nothing is repeated, and nobody else is told.",
            "Yes, I see to it",
        ),
        "shelve": Deed(
            "Shelve for 1 h", "Not now: what is still wrong in an hour rings again.", "Yes, shelve for 1 h"
        ),
        "shelve-until-morning": Deed(
            "Shelve until morning",
            "Not tonight: what is still wrong in the morning rings again, or sooner if it gets worse.",
            "Yes, shelve until morning",
        ),
        "work": Deed(
            "I am working on the tank",
            "What your hands disturb does not ring meanwhile, nor until the water has settled; dangers do.",
            "Yes, I am at work",
        ),
        "heard": Deed("Yes, I heard it", "The way to this phone works.", "Yes, I heard it"),
    }
)

Render = Callable[..., Response]


class AnswerPages:
    """The handlers.

    Parameters
    ----------
    links
        Reads what is in an address.
    asker
        Puts what is answered into the box of requests.
    opened
        The record.
    labels
        What things are called.
    clock
        The service's.
    render
        Makes a page of the name of a template and its values.
    """

    def __init__(
        self,
        links: Links,
        asker: Asker,
        opened: Callable[[], Record],
        labels: Labels,
        clock: Clock,
        render: Render,
    ) -> None:
        self._links, self._asker, self._opened = links, asker, opened
        self._labels, self._clock, self._render = labels, clock, render

    def show(self, request: Request) -> Response:
        """What is wrong, how it stands, and what can be answered."""
        link, asked = self._link(request), request.query_params.get("asked")
        incident = self._incident(link)
        return self._render(
            "answer.html",
            person=link.person,
            told=incident,
            row=self._row(incident),
            deeds=self._deeds(incident),
            address=request.path_params["text"],
            has_asked=asked is not None,
            answer=None if asked is None else self._asker.answer(asked[:100]),
        )

    def confirm(self, request: Request) -> Response:
        """Ask whether it is meant; nothing has been done yet."""
        incident = self._incident(self._link(request))
        name = request.path_params["deed"]
        return self._render(
            "confirm.html",
            told=incident,
            deed=self._deed(incident, name),
            is_work=name == "work",
            choices=CHOICES,
            lasts=list(LASTS),
            usual=USUAL_LAST,
            address=request.path_params["text"],
            form=secrets.token_hex(8),
        )

    async def do(self, request: Request) -> Response:
        """Do what was confirmed, once, and go back to the page that says how it stands."""
        link, name = self._link(request), request.path_params["deed"]
        form = await fields(request)
        incident = self._incident(link)
        self._deed(incident, name)
        asked = self._asked(link, incident, name, form)
        text = request.path_params["text"]
        number = await self._asker.ask(f"{text}/{name}/{form.get('form', '')}", link.person, asked)
        return RedirectResponse(f"/answer/{text}?asked={number}", 303)

    def _asked(
        self, link: Link, incident: IncidentRecord | None, name: str, form: Mapping[str, str]
    ) -> Asked:
        if incident is None:
            return AnswerTestRing(person=link.person)
        number, now_us = incident.incident.number, self._clock.now_us()
        match name:
            case "shelve":
                return Shelve("", number, until_us=now_us + HOUR_US)
            case "shelve-until-morning":
                return Shelve("", number)
            case "work":
                return begun_work(form, incident.incident.tank, now_us)
        return Acknowledge("", number)

    def _link(self, request: Request) -> Link:
        try:
            return self._links.read(request.path_params["text"], self._clock.now_us())
        except LinkError as error:
            raise HTTPException(
                410 if error.is_expired else 404, _EXPIRED if error.is_expired else _UNKNOWN
            ) from error

    def _incident(self, link: Link) -> IncidentRecord | None:
        """The incident that the link is about; None for a test ring."""
        if link.incident is None:
            return None
        try:
            return self._opened().incident(link.incident).record
        except KeyError as error:
            raise HTTPException(
                404, f"There is no incident {link.incident} in the store any more."
            ) from error

    def _row(self, incident: IncidentRecord | None) -> IncidentRow | None:
        return None if incident is None else incident_row(incident, self._labels, self._clock.now_us())

    def _deeds(self, incident: IncidentRecord | None) -> Mapping[str, Deed]:
        """What may be answered as it stands."""
        names: Sequence[str] = ("heard",)
        if incident is not None:
            state = "" if incident.answer is None else incident.answer.state
            is_over = incident.incident.ended_at_us is not None
            names = ["work"] if is_over else ["shelve", "shelve-until-morning", "work"]
            seen = (AlarmState.ACKNOWLEDGED, AlarmState.NORMAL, AlarmState.LATCHED)
            if state not in seen:
                names = [ACKNOWLEDGE, *names]
        return {name: DEEDS[name] for name in names}

    def _deed(self, incident: IncidentRecord | None, name: str) -> Deed:
        """One of them; 404 for what never was one, and where it is over meanwhile."""
        if name not in DEEDS:
            raise HTTPException(404, "There is no such answer.")
        deed = self._deeds(incident).get(name)
        if deed is None:
            raise HTTPException(409, "That is not needed any more. Go back to see how it stands.")
        return deed
