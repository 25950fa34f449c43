"""Starts the loop on a line that a test feeds by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.intake.parts import Running

Begin = Callable[..., Running]


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Begin]:
    """Starts the loop, connected and in its backlog; closes everything in the end."""
    with ExitStack() as stack:

        def make(**settings: float) -> Running:
            running = Running(tmp_path, **settings)
            stack.callback(running.close)
            return running

        yield make


@pytest.fixture
def running(begin: Begin) -> Running:
    """A loop on a live line."""
    one = begin()
    one.be_live()
    return one
