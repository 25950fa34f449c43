"""Runs the service until it is told to stop; told to reload, it gives its place to one with the new rules.

A reload ends one service and begins the next in the same process: what had been received is committed and
acknowledged, what comes meanwhile waits at the broker for the session that both share, and the next one
begins where the last one was by what was recorded, as after any other stop. So nothing is lost, and no part
need know how to change while it runs.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from contextlib import ExitStack

from collector.clock import Clock
from collector.configuration import Configuration
from collector.errors import ConfigError, DiskError
from collector.service import Service
from collector.signals import called_by_signals
from collector.store import Reserve
from collector.waiting import wait_for_room

_LOG = logging.getLogger(__name__)


def serve(
    configuration: Configuration,
    *,
    clock: Clock | None = None,
    reread: Callable[[], Configuration] | None = None,
) -> int:
    """Run the service until SIGTERM or SIGINT; return 0 after a clean stop.

    Parameters
    ----------
    configuration
        Everything, checked.
    clock
        Tank time; the wall clock by default.
    reread
        Reads the configuration again on SIGHUP; a ConfigError leaves the service as it is.

    Raises
    ------
    StoreError, ConfigError
        If the store cannot be opened or does not fit the configuration. A broker that is away is waited for,
        and so is a disk that is full or fails.
    """
    clock = clock or Clock()
    before: Configuration | None = None
    while True:
        successor = Successor(reread)
        try:
            _serve_once(configuration, clock, successor)
        except ConfigError as error:
            if before is None:
                raise
            _LOG.error("the new configuration cannot be used, the one before goes on: %s", error)
            configuration, before = before, None
            continue
        except DiskError as error:
            if Reserve(configuration.store.path).give_up():
                _LOG.error("%s. Room that was kept for this is given up, and the service starts", error)
            elif not wait_for_room(configuration, clock, error):
                _LOG.info("stopped")
                return 0
            continue
        if successor.configuration is None:
            _LOG.info("stopped")
            return 0
        configuration, before = successor.configuration, configuration


class Successor:
    """What takes over on a reload, if anything does."""

    def __init__(self, reread: Callable[[], Configuration] | None) -> None:
        self._reread = reread
        self.configuration: Configuration | None = None

    @property
    def is_possible(self) -> bool:
        """Whether anything is known that could be read again."""
        return self._reread is not None

    def appears(self) -> bool:
        """Read the configuration again; whether it can be used."""
        if self._reread is None:
            return False
        try:
            self.configuration = self._reread()
        except ConfigError as error:
            _LOG.error("the configuration was read again and is not taken, the one before goes on: %s", error)
            return False
        _LOG.warning("the configuration was read again and is taken from here on")
        return True


def _serve_once(configuration: Configuration, clock: Clock, successor: Successor) -> None:
    with ExitStack() as stack:
        service = Service(configuration, clock, stack, successor.appears)
        reload = service.reload if successor.is_possible else None
        stack.enter_context(called_by_signals(service.stop, reload))
        service.run()
