"""A real store, the pages served from it on a free port, and a client for them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from collector.clock import Clock
from collector.configuration import Configuration
from collector.pages import PagesServer, serve_in_thread
from collector.store import Store, StoreReader
from tests.pages import tank


def standing_clock() -> Clock:
    """Always `tank.NOW`."""
    return Clock(wall=lambda: tank.NOW)


@pytest.fixture
def configuration(tmp_path: Path) -> Configuration:
    return tank.configuration(tmp_path / "store")


@pytest.fixture
def store(configuration: Configuration) -> Iterator[Store]:
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        yield store


Serve = Callable[[Configuration], PagesServer]


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Serves any configuration's store until the test ends."""
    servers = []

    def start(configuration: Configuration) -> PagesServer:
        path = configuration.store.path
        server = serve_in_thread(configuration, lambda: StoreReader(path), standing_clock(), live_every_s=0.1)
        servers.append(server)
        return server

    yield start
    for server in servers:
        server.close()


@pytest.fixture
def pages(configuration: Configuration, store: Store, serve: Serve) -> Iterator[httpx.Client]:
    """A client of pages that show `store`."""
    # Plain HTTP: to load authorities for each client takes longer than most tests.
    with httpx.Client(base_url=serve(configuration).address, trust_env=False, verify=False) as client:
        yield client
