"""A registered store on a real file, and a reader of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.store import Store, StoreReader
from tests.store.commits import SERIES


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "store" / "brinebell.sqlite"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    with Store(path) as store:
        store.register(SERIES)
        yield store


@pytest.fixture
def reader(store: Store, path: Path) -> Iterator[StoreReader]:
    with StoreReader(path) as reader:
        yield reader
