"""Live updates as server-sent events: one look at the record serves everybody who watches.

A listener first gets all texts, then those that changed; nobody watching costs nothing.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import AsyncIterator, Callable

import orjson
from anyio import to_thread

_log = logging.getLogger(__name__)

# A listener who is this many updates behind is not there any more; the browser connects again.
_QUEUE = 20
# A sign of life at least so often: without one for three times as long the page says that it may be old.
_BEAT_S = 10.0
MOST_LISTENERS = 16
# The browser waits so long before it connects again.
_RETRY = b"retry: 3000\n\n"


class LiveFeed:
    """Looks every `every_s` seconds while somebody listens. Lives in the event loop of the server."""

    def __init__(self, look: Callable[[], dict[str, str]], every_s: float) -> None:
        self._look = look
        self._every_s = every_s
        self._listeners: set[asyncio.Queue[bytes | None]] = set()
        self._known: dict[str, str] = {}
        self._watch: asyncio.Task[None] | None = None
        self._is_closed = False

    @property
    def is_full(self) -> bool:
        """Whether one more listener would be too many."""
        return self._is_closed or len(self._listeners) >= MOST_LISTENERS

    async def follow(self, may_listen: Callable[[], bool] = lambda: True) -> AsyncIterator[bytes]:
        """Events for one listener until it goes, or may not listen any more, or the feed is closed."""
        queue: asyncio.Queue[bytes | None] = asyncio.Queue(_QUEUE)
        self._listeners.add(queue)
        try:
            if self._watch is None:
                self._known = {}
                self._watch = asyncio.create_task(self._keep_looking(), name="live pages")
            yield _RETRY
            if self._known:
                yield _event(self._known)
            while (event := await queue.get()) is not None and may_listen():
                yield event
        finally:
            self._listeners.discard(queue)
            if not self._listeners and self._watch is not None:
                self._watch.cancel()
                self._watch = None

    def close(self) -> None:
        """End every listener's stream; call it in the event loop."""
        self._is_closed = True
        for queue in self._listeners:
            _put_last(queue)

    async def _keep_looking(self) -> None:
        told_at = time.monotonic()
        is_broken = False
        while True:
            try:
                texts = await to_thread.run_sync(self._look)
            except Exception:  # noqa: BLE001 (the top of a task: one bad look must not end it)
                # The page says itself that it gets no news; the log says why, once.
                if not is_broken:
                    _log.warning("live pages cannot read the record", exc_info=True)
                is_broken = True
            else:
                is_broken = False
                changed = {key: text for key, text in texts.items() if self._known.get(key) != text}
                self._known = texts
                # That time passes is no news, but a sign of life.
                if changed.keys() - {"at"} or time.monotonic() - told_at >= _BEAT_S:
                    self._tell(_event(changed))
                    told_at = time.monotonic()
            await asyncio.sleep(self._every_s)

    def _tell(self, event: bytes) -> None:
        for queue in self._listeners:
            if queue.full():
                _put_last(queue)
            else:
                queue.put_nowait(event)


def _put_last(queue: asyncio.Queue[bytes | None]) -> None:
    """Make the end the next thing that a listener sees."""
    while not queue.empty():
        queue.get_nowait()
    queue.put_nowait(None)


def _event(texts: dict[str, str]) -> bytes:
    # JSON text holds no line break, so it is one line of the stream.
    return b"event: texts\ndata: " + orjson.dumps(texts) + b"\n\n"
