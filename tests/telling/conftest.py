"""Starts the service at speed, on a broker of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.broker import Mosquitto, mosquitto
from tests.telling.household import Household


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as one:
        yield one


@pytest.fixture
def live(tmp_path: Path, broker: Mosquitto) -> Iterator[Callable[..., Household]]:
    started: list[Household] = []

    def make(people: dict[str, str], **more: object) -> Household:
        household = Household(tmp_path, broker, people, **more)
        started.append(household)
        household.start()
        return household

    yield make
    for one in started:
        one.kill()
