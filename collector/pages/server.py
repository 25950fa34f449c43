"""Serves the pages in a thread of the service: to other machines only with a log-in, and closed cleanly."""

from __future__ import annotations

import logging
import socket
import threading
from typing import Self

from starlette.applications import Starlette
from uvicorn import Config, Server

from collector.clock import Clock
from collector.configuration import Configuration, PageConfiguration
from collector.errors import ConfigError
from collector.pages.access import require_access
from collector.pages.application import create_application
from collector.pages.asking import Answers
from collector.pages.health import HealthSource
from collector.pages.record import BrokerSource, MessagesSource, RecordFactory, SuppressedSource, UsualSource
from collector.pages.turns import PATIENCE_S, connections_of

_LOG = logging.getLogger(__name__)

# A keeper's phone, tablet and desk, each with some pages open; more is nobody whom we know.
_MOST_CONNECTIONS = 64
# Requests under way may end; a live stream ends when told. What has not ended then is cut off.
_CLOSING_S = 3


def serve_in_thread(
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
    live_every_s: float = 1.0,
    patience_s: float = PATIENCE_S,
) -> PagesServer:
    """Serve the pages at page.listen until the answer is closed; port 0 takes any free port.

    Parameters are those of `create_application`, and for how long a slow client is waited for.

    Raises
    ------
    ConfigError
        If page.listen is not of this machine alone and nobody is asked who they are, or it cannot be
        listened at.
    """
    require_access(configuration.page)
    application = create_application(
        configuration,
        record_factory,
        clock,
        broker=broker,
        usual=usual,
        suppressed=suppressed,
        answers=answers,
        health=health,
        messages=messages,
        live_every_s=live_every_s,
    )
    pages = PagesServer(application, _listen(configuration.page), configuration.page.host, patience_s)
    _LOG.info("the page stands at %s/", pages.address)
    return pages


class PagesServer:
    """The pages being served, by a thread named "pages"; `address` is where."""

    def __init__(
        self, application: Starlette, listener: socket.socket, host: str, patience_s: float = PATIENCE_S
    ) -> None:
        port = listener.getsockname()[1]
        self.address = f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
        self._server = _Server(
            application,
            Config(
                application,
                loop="asyncio",
                http=connections_of(patience_s),
                ws="none",
                lifespan="on",
                log_config=None,
                # Requests are no news for the journal of a Raspberry Pi.
                log_level="warning",
                access_log=False,
                proxy_headers=False,
                server_header=False,
                limit_concurrency=_MOST_CONNECTIONS,
                timeout_graceful_shutdown=_CLOSING_S,
            ),
        )
        self._listener = listener
        self._thread = threading.Thread(target=self._serve, name="pages", daemon=True)
        self._thread.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    def close(self) -> None:
        """Stop listening, end what is under way, and wait for the thread. May be called twice."""
        self._server.should_exit = True
        self._thread.join()

    def _serve(self) -> None:
        with self._listener:
            self._server.run([self._listener])


class _Server(Server):
    """Ends live streams before it waits for requests to end."""

    def __init__(self, application: Starlette, config: Config) -> None:
        super().__init__(config)
        self._application = application

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._application.state.live.close()
        await super().shutdown(sockets)


def _listen(page: PageConfiguration) -> socket.socket:
    """Bind here, in the caller's thread, where a failure still has somebody to tell."""
    try:
        family, kind, _, _, address = socket.getaddrinfo(page.host, page.port, type=socket.SOCK_STREAM)[0]
        # asyncio turns Nagle's algorithm off only where it sees that the protocol is TCP; left on, it
        # holds every answer back by the 40 ms of a delayed acknowledgement.
        listener = socket.socket(family, kind, socket.IPPROTO_TCP)
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind(address)
            # Connections from now on wait until the thread takes them.
            listener.listen()
        except BaseException:
            listener.close()
            raise
    except OSError as error:
        raise ConfigError(
            f'page.listen: "{page.host}:{page.port}" cannot be listened at ({error.strerror or error}); '
            "give it a free port, or end what has this one"
        ) from error
    return listener
