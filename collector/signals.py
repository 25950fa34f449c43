"""SIGTERM and SIGINT end a service, SIGHUP lets it reload, where signals arrive: in the main thread."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def called_by_signals(
    stop: Callable[[], object], reload: Callable[[], object] | None = None
) -> Iterator[None]:
    """Call `stop` on SIGTERM and SIGINT and, where there is one, `reload` on SIGHUP.

    Behind it SIGHUP is passed over, for it may come while one service gives its place to the next, and the
    others do what they did before. In another thread than the main one nothing changes.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(number: int, _frame: FrameType | None) -> None:
        if number == signal.SIGHUP and reload is not None:
            reload()
        else:
            stop()

    before = {number: signal.signal(number, handle) for number in (signal.SIGTERM, signal.SIGINT)}
    if reload is not None:
        signal.signal(signal.SIGHUP, handle)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        if reload is not None:
            signal.signal(signal.SIGHUP, signal.SIG_IGN)
