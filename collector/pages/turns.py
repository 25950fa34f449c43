"""Connections whose client is slow or silent are let go of, so that they cannot hold the page's places.

A connection waits either for us, to answer a request that is whole, or for its client: for a request's
head, for its body, or until more of an answer is taken. In the client's turn time runs, however many single
bytes come; and where all places are taken, who has been waited for longest gives way to who is new. The
stream of a live page is our turn for as long as it lasts: of these there are few at a time (`LiveFeed`).
"""

from __future__ import annotations

import asyncio
import time
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

# A phone at the edge of the network needs seconds for a form; browsers open connections to have them at hand,
# and open others when these are gone.
PATIENCE_S = 20.0


class TurnsProtocol(H11Protocol):
    """A connection of the page's server, in its event loop; `connections_of` gives it a patience."""

    patience_s = PATIENCE_S

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._end: asyncio.TimerHandle | None = None
        self._waits_since_s = 0.0

    @property
    def _is_clients_turn(self) -> bool:
        cycle = self.cycle
        return cycle is None or cycle.response_complete or cycle.more_body or self.flow.write_paused

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a place, that of another one if there is no other."""
        super().connection_made(transport)
        self._turn()
        most = self.limit_concurrency
        if most is not None and len(self.connections) >= most:
            self._make_place()

    def connection_lost(self, exc: Exception | None) -> None:
        """Give the place back."""
        self._stop_waiting()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what the client sends; perhaps it is our turn then."""
        super().data_received(data)
        self._turn()

    def on_response_complete(self) -> None:
        """The answer is written; the next request is the client's turn."""
        super().on_response_complete()
        self._turn()

    def pause_writing(self) -> None:
        """The client does not take what there is."""
        super().pause_writing()
        self._turn()

    def resume_writing(self) -> None:
        """It does."""
        super().resume_writing()
        self._turn()

    def _turn(self) -> None:
        if not self._is_clients_turn:
            self._stop_waiting()
        elif self._end is None:
            self._waits_since_s = time.monotonic()
            # Closing politely would wait until the client has taken what is still to be sent.
            self._end = self.loop.call_later(self.patience_s, self.transport.abort)

    def _stop_waiting(self) -> None:
        if self._end is not None:
            self._end.cancel()
            self._end = None

    def _make_place(self) -> None:
        waiting = [
            one
            for one in self.connections
            if isinstance(one, TurnsProtocol) and one is not self and one._end is not None
        ]
        if waiting:
            longest = min(waiting, key=lambda one: one._waits_since_s)
            longest.transport.abort()
            # It is lost a round later; until then somebody else has its place.
            longest._stop_waiting()
            self.connections.discard(longest)


def connections_of(patience_s: float) -> type[TurnsProtocol]:
    """Connections that wait so long for their client."""
    return type("TurnsProtocol", (TurnsProtocol,), {"patience_s": patience_s})
