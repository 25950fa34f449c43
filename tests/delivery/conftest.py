"""A store on disk and its outbox."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.store import Outbox, Store


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "brinebell.sqlite"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    with Store(path) as store:
        yield store


@pytest.fixture
def outbox(store: Store, path: Path) -> Iterator[Outbox]:
    with Outbox(path) as outbox:
        yield outbox
