"""SIGTERM and SIGINT end a service cleanly, where signals arrive: in the main thread."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def stopped_by_signals(stop: Callable[[], object]) -> Iterator[None]:
    """Call `stop` on SIGTERM and SIGINT; in another thread than the main one nothing changes."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(_number: int, _frame: FrameType | None) -> None:
        stop()

    before = {number: signal.signal(number, handle) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
