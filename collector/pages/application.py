"""The pages as one ASGI application: routes, templates, and what is said when something is not there.

Handlers are plain functions, which Starlette runs in threads; two at once are enough for one keeper,
and spare the memory of forty.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import AbstractContextManager, asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import orjson
from anyio import to_thread
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response, StreamingResponse
from starlette.routing import Match, Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from collector.clock import Clock
from collector.configuration import Configuration
from collector.errors import StoreError
from collector.pages.access import VISITOR, Access, OwnNames
from collector.pages.afterwards import Afterwards
from collector.pages.answering import AnswerPages
from collector.pages.asking import Answers, Asker
from collector.pages.care import CareView
from collector.pages.care_pages import CARE, CarePages
from collector.pages.door import LOG_IN, LOG_OUT, Door, LogInPages
from collector.pages.guard import Guard
from collector.pages.health import HEALTH, HealthSource, health_page
from collector.pages.live import LiveFeed
from collector.pages.live_texts import live_texts
from collector.pages.now import Now, NowView
from collector.pages.now_json import now_as_json
from collector.pages.record import (
    BrokerSource,
    MessagesSource,
    Record,
    RecordFactory,
    SuppressedSource,
    UsualSource,
)
from collector.pages.review_form import ReviewForm
from collector.pages.templating import templates
from collector.pages.work_form import WorkForm

Handler: TypeAlias = Callable[[Request], Response]

_log = logging.getLogger(__name__)
_HERE = Path(__file__).parent
_THREADS = 2
_LIVE_EVERY_S = 1.0


def create_application(
    configuration: Configuration,
    record_factory: RecordFactory,
    clock: Clock,
    *,
    broker: BrokerSource | None = None,
    usual: UsualSource | None = None,
    suppressed: SuppressedSource | None = None,
    answers: Answers | None = None,
    health: HealthSource | None = None,
    messages: MessagesSource | None = None,
    live_every_s: float = _LIVE_EVERY_S,
) -> Starlette:
    """Make the application; `application.state.live` is its `LiveFeed`, to be closed with the server.

    Parameters
    ----------
    record_factory
        Opens the record, when it is first needed; while it raises StoreError the pages say so.
    broker
        Tells how the service stands with its broker, from any thread; None leaves that line out.
    usual
        Tells what is usual for each series, from any thread; without it all are learning.
    suppressed
        Tells which alarms are suppressed by design, from any thread; None leaves them out.
    answers
        By what people answer; without it the pages only show. From a page itself something is asked for only
        by whom `Access` lets.
    health
        Tells how the service is, from any thread: as plain values, None if its loop stands still. Without it
        nothing is told.
    messages
        The last message of each topic, from any thread; None leaves them out.
    live_every_s
        Wall seconds between two looks for news.
    """
    site = _Site(configuration, record_factory, clock, broker, usual, suppressed, answers, messages)
    live = LiveFeed(site.live_texts, live_every_s)

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        to_thread.current_default_thread_limiter().total_tokens = _THREADS
        site.compile_templates()
        yield
        live.close()
        site.close()

    async def follow(request: Request) -> Response:
        if live.is_full:
            raise HTTPException(503, "Too many pages are watching live; this one is right when reloaded.")
        may_listen = partial(site.access.is_welcome, request.scope)
        return StreamingResponse(live.follow(may_listen), media_type="text/event-stream")

    names = OwnNames(configuration.page)
    routes = [
        Route("/", site.safely(site.now), methods=["GET"]),
        Route("/now.json", site.safely(site.now_json), methods=["GET"]),
        *([] if health is None else [Route(HEALTH, health_page(health), methods=["GET"])]),
        Route("/live", follow, methods=["GET"]),
        *site.afterwards.routes(site.safely),
        *site.form_routes(),
    ]
    forms = [route for route in routes if "POST" in (route.methods or ())]

    def takes_form(scope: Scope) -> bool:
        return any(route.matches(scope)[0] is Match.FULL for route in forms)

    application = Starlette(
        routes=[*routes, Mount("/static", StaticFiles(directory=_HERE / "static"))],
        middleware=[
            Middleware(Guard, names=names, takes_form=takes_form),
            Middleware(Door, access=site.access, names=names),
        ],
        exception_handlers={
            HTTPException: site.refused,
            StoreError: site.no_store,
        },
        lifespan=lifespan,
    )
    application.state.live = live
    return application


class _Site:
    """The handlers, and the record that they share."""

    def __init__(
        self,
        configuration: Configuration,
        record_factory: RecordFactory,
        clock: Clock,
        broker: BrokerSource | None,
        usual: UsualSource | None,
        suppressed: SuppressedSource | None,
        answers: Answers | None,
        messages: MessagesSource | None,
    ) -> None:
        self._view = NowView(configuration)
        self._labels = self._view.labels
        self._record_factory = record_factory
        self._clock = clock
        self._broker = broker
        self._usual = usual
        self._suppressed = suppressed
        self.access = Access(configuration.page, configuration.store.folder)
        self._log_in = LogInPages(self.access, self._page)
        self._answer_pages = self._work_form = review_form = asker = None
        if answers is not None:
            asker = Asker(answers.open_box, clock)
            self._answer_pages = AnswerPages(
                answers.links, asker, self._opened, self._labels, clock, self._page
            )
            self._work_form = WorkForm(answers.links, asker, clock)
            review_form = ReviewForm(answers.links, asker, clock)
        self.afterwards = Afterwards(self._opened, self._labels, clock, self._page, self._text, review_form)
        self._care = CarePages(
            CareView(configuration, self._labels),
            self._labels,
            self._opened,
            messages,
            clock,
            self._page,
            None if answers is None else answers.links,
            asker,
        )
        self._record: Record | None = None
        self._opening = threading.Lock()
        self._templates = templates()

    def close(self) -> None:
        """Let go of the record."""
        with self._opening:
            if self._record is not None:
                self._record.close()

    def compile_templates(self) -> None:
        """Do it before somebody waits for a page."""
        for name in self._templates.list_templates():
            self._templates.get_template(name)

    def live_texts(self) -> dict[str, str]:
        """What may have changed on the page that shows now."""
        with _huge_values():
            return live_texts(self._look())

    # -- pages -------------------------------------------------------------------------------------

    def now(self, request: Request) -> Response:
        offer = None if self._work_form is None else self._work_form.offer(request)
        return self._page("now.html", now=self._look(), offer=offer)

    def now_json(self, _: Request) -> Response:
        body = orjson.dumps(now_as_json(self._look()), option=orjson.OPT_INDENT_2)
        return Response(body + b"\n", media_type="application/json")

    # -- forms -------------------------------------------------------------------------------------

    def form_routes(self) -> list[Route]:
        """What takes forms, and the pages that belong to them."""
        routes = [Route(CARE, self.safely(self._care.show), methods=["GET"])]
        if self._care.takes_forms:
            routes.append(Route(CARE, self._care.take, methods=["POST"]))
        if (pages := self._answer_pages) is not None:
            routes += [
                Route("/answer/{text}", self.safely(pages.show), methods=["GET"]),
                Route("/answer/{text}/{deed}", self.safely(pages.confirm), methods=["GET"]),
                Route("/answer/{text}/{deed}", pages.do, methods=["POST"]),
            ]
        if self._work_form is not None:
            routes.append(Route("/work", self._work_form.take, methods=["POST"]))
        if self.access.has_log_in:
            routes += [
                Route(LOG_IN, self.safely(self._log_in.show), methods=["GET"]),
                Route(LOG_IN, self._log_in.take, methods=["POST"]),
                Route(LOG_OUT, self.safely(self._log_in.ask_out), methods=["GET"]),
                Route(LOG_OUT, self._log_in.leave, methods=["POST"]),
            ]
        return routes

    # -- what is not there -------------------------------------------------------------------------

    def refused(self, _: Request, error: Exception) -> Response:
        """Say what is wrong with a request."""
        status = error.status_code if isinstance(error, HTTPException) else 400
        detail = error.detail if isinstance(error, HTTPException) else str(error)
        headers = error.headers if isinstance(error, HTTPException) else None
        text = "There is no such page." if (status, detail) == (404, "Not Found") else detail
        return self._page("error.html", text=text, status=status, headers=headers)

    def no_store(self, _: Request, error: Exception) -> Response:
        """Say that there is nothing to read yet."""
        _log.info("nothing to show: %s", error)
        text = "There is nothing to show yet: the store cannot be read. The page tries again by itself."
        return self._page("error.html", text=text, status=503, headers={"refresh": "10", "retry-after": "10"})

    def safely(self, handler: Handler) -> Handler:
        """Let a mistake of ours in a page end as a worded page, with its traceback in the log."""

        def handle(request: Request) -> Response:
            try:
                with _huge_values():
                    return handler(request)
            except (HTTPException, StoreError):
                raise
            except Exception:  # noqa: BLE001 (logged, and the other pages are still there)
                _log.exception("the page %s could not be made", request.url.path)
                text = "This page could not be made. The log of the service says why."
                return self._page("error.html", text=text, status=500)

        return handle

    # -- parts -------------------------------------------------------------------------------------

    def _look(self) -> Now:
        state = None if self._broker is None else self._broker()
        usual = {} if self._usual is None else self._usual()
        suppressed = () if self._suppressed is None else self._suppressed()
        return self._view.look(self._opened(), self._clock.now_us(), state, usual, suppressed)

    def _opened(self) -> Record:
        with self._opening:
            if self._record is None:
                self._record = self._record_factory()
            return self._record

    def _page(
        self, template: str, *, status: int = 200, headers: Mapping[str, str] | None = None, **values: Any
    ) -> HTMLResponse:
        return HTMLResponse(self._text(template, **values), status, headers)

    def _text(self, template: str, **values: Any) -> str:
        return self._templates.get_template(template).render(values, visitor=VISITOR.get())


def _huge_values() -> AbstractContextManager[object]:
    """Sums of values near the ends of the float range are infinite, and shown as no value: no warning."""
    return np.errstate(over="ignore", invalid="ignore")
