"""Handlers of what happened: the list of incidents, the story of one, its exports, and history."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from collector.clock import Clock
from collector.pages.exporting import EXPORTS, events_csv, exported, markdown, picture, readings_csv
from collector.pages.history import AGAINST, MOST_HOURS, SPANS, against_of, history_of
from collector.pages.incidents import incident_list, whole_number
from collector.pages.labels import Labels
from collector.pages.moments import full
from collector.pages.record import Record
from collector.pages.review_form import ReviewForm
from collector.pages.spans import span_of
from collector.pages.story import Story, story_of
from collector.pages.templating import style
from collector.pages.what_if import Kept, what_if
from collector.picture.process import PictureError

# SQLite's integers: no incident has a higher number.
_GREATEST_NUMBER = 2**63 - 1

Handler = Callable[[Request], Response]


class Afterwards:
    """The handlers.

    Parameters
    ----------
    opened
        The record.
    labels, clock
        What things are called, and now.
    page, text
        Make a response of the name of a template and its values, and its text alone.
    form
        Takes verdicts and notes; None where the pages only show.
    """

    def __init__(
        self,
        opened: Callable[[], Record],
        labels: Labels,
        clock: Clock,
        page: Callable[..., Response],
        text: Callable[..., str],
        form: ReviewForm | None,
    ) -> None:
        self._opened, self._labels, self._clock = opened, labels, clock
        self._page, self._text, self._form = page, text, form
        self._kept = Kept()

    def routes(self, safely: Callable[[Handler], Handler]) -> list[Route]:
        """All of them; `safely` wraps what only reads."""
        found = [
            Route("/incidents", safely(self.incidents), methods=["GET"]),
            Route("/incidents/{number:int}", safely(self.incident), methods=["GET"]),
            Route("/history", safely(self.history), methods=["GET"]),
            Route("/series/{tank}/{name}", safely(self.series), methods=["GET"]),
            Route("/what-if/{tank}/{name}", safely(self.what_if), methods=["GET"]),
        ]
        if self._form is not None:
            found.append(Route("/incidents/{number:int}/review", self.review, methods=["POST"]))
        found.append(Route("/incidents/{number:int}/{name}", safely(self.export), methods=["GET"]))
        return found

    def incidents(self, request: Request) -> Response:
        """The list."""
        labels = self._labels
        return self._page(
            "incidents.html",
            found=incident_list(self._opened(), labels, request.query_params, self._clock.now_us()),
            zones=", ".join(dict.fromkeys(map(labels.time_zone, labels.tanks))),
            has_tanks=len(labels.tanks) > 1,
        )

    def incident(self, request: Request) -> Response:
        """One incident."""
        story = self._story(request)
        review = None
        if self._form is not None:
            review = self._form.offer(request, story.verdict, story.time_zone)
        return self._page("incident.html", story=story, review=review, exports=EXPORTS.items())

    async def review(self, request: Request) -> Response:
        """What somebody says of an incident."""
        if self._form is None:
            raise HTTPException(404)
        try:
            incident = self._opened().incident(self._number(request)).record.incident
        except KeyError as error:
            raise self._missing(request) from error
        return await self._form.take(request, self._labels.time_zone(incident.tank))

    def export(self, request: Request) -> Response:
        """An incident as a file."""
        name, number = request.path_params["name"], request.path_params["number"]
        if name not in EXPORTS:
            raise HTTPException(404)
        story = self._story(request)
        file = exported(number, name)
        headers = {"content-disposition": f'attachment; filename="brinebell-{file.name}"'}
        if name == "readings.csv":
            pieces = readings_csv(self._opened(), story, self._labels)
            return StreamingResponse(pieces, media_type=file.media_type, headers=headers)
        return Response(self._exported(name, story), media_type=file.media_type, headers=headers)

    def series(self, request: Request) -> Response:
        """One series over a span."""
        labels, query = self._labels, request.query_params
        tank, name = request.path_params["tank"], request.path_params["name"]
        hours = whole_number(query, "hours", 24, MOST_HOURS)
        if not labels.is_configured(tank, name):
            raise HTTPException(404, f"There is no series {tank}/{name} in the configuration.")
        span, against = span_of(query, labels.time_zone(tank)), against_of(query)
        now_us = self._clock.now_us()
        try:
            history = history_of(
                self._opened(), labels, tank, name, now_us, hours=hours, span=span, against=against
            )
        except KeyError as error:
            raise HTTPException(404, f"Series {tank}/{name} has never been stored.") from error
        return self._page(
            "series.html",
            history=history,
            spans=SPANS,
            against=AGAINST,
            series=labels.all_series,
            has_tanks=len(labels.tanks) > 1,
        )

    def what_if(self, request: Request) -> Response:
        """Other limits of a series, tried on what was recorded."""
        labels, query = self._labels, request.query_params
        tank, name = request.path_params["tank"], request.path_params["name"]
        if not labels.is_configured(tank, name):
            raise HTTPException(404, f"There is no series {tank}/{name} in the configuration.")
        span = span_of(query, labels.time_zone(tank))
        label = labels.series(tank, name)
        try:
            trial = what_if(self._opened(), labels, label, self._clock.now_us(), span, query, self._kept)
        except KeyError as error:
            raise HTTPException(404, f"Series {tank}/{name} has never been stored.") from error
        return self._page("what_if.html", trial=trial)

    def history(self, request: Request) -> Response:
        """All series to choose from, or the way to the one that a form has chosen."""
        labels, query = self._labels, request.query_params
        if "series" not in query:
            tanks = [
                (labels.tank_title(tank), [one for one in labels.all_series if one.tank == tank])
                for tank in labels.tanks
            ]
            return self._page("history.html", tanks=tanks)
        chosen = next((one for one in labels.all_series if one.key == query["series"]), None)
        if chosen is None:
            raise HTTPException(404, f"There is no series {query['series'][:80]} in the configuration.")
        kept = {key: query[key] for key in ("from", "to", "against") if query.get(key)}
        address = f"/series/{chosen.key}"
        return RedirectResponse(f"{address}?{urlencode(kept)}" if kept else address, 303)

    def _exported(self, name: str, story: Story) -> str | bytes:
        now_us = self._clock.now_us()
        match name:
            case "story.html":
                written = full(now_us, story.time_zone)
                return self._text("incident_file.html", story=story, style=style(), written=written)
            case "story.md":
                return markdown(story)
            case "events.csv":
                return events_csv(story)
        try:
            drawn = picture(self._opened(), self._labels, story, now_us)
        except PictureError as error:
            raise HTTPException(503, f"There is no picture now: {error}.") from error
        if drawn is None:
            raise HTTPException(404, "There is no picture of it: none of its series has a reading then.")
        return drawn

    def _story(self, request: Request) -> Story:
        record, labels, now_us = self._opened(), self._labels, self._clock.now_us()
        number = self._number(request)
        try:
            tank = record.incident(number).record.incident.tank
            span = span_of(request.query_params, labels.time_zone(tank))
            return story_of(record, labels, number, now_us, span)
        except KeyError as error:
            raise self._missing(request) from error

    def _number(self, request: Request) -> int:
        number: int = request.path_params["number"]
        if number > _GREATEST_NUMBER:
            raise self._missing(request)
        return number

    @staticmethod
    def _missing(request: Request) -> HTTPException:
        return HTTPException(404, f"There is no incident {request.path_params['number']}.")
