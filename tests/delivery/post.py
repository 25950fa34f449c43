"""A store with messages in its outbox, and what became of them."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from collector.configuration import (
    Configuration,
    MqttConfiguration,
    PageConfiguration,
    PersonConfiguration,
    StoreConfiguration,
)
from collector.messages import NewMessage
from collector.store import Commit, IncidentRecord, Store
from rules import EngineRules, Evidence, Incident, Priority

INCIDENT = Incident(
    1, "reef", "heater_failed_off", ("temperature",), Priority.URGENT, 1, 2, None, Evidence(), ()
)
TITLE = "Heater failed: Reef 24.6 °C, danger about 04:10"
BODY = "Falling 0.31 °C/h since 02:30. Act now: first look at the heater's plug."
REPEATED = f"{BODY} Possibly repeated."


def configuration(*urls: str, person: str = "sam") -> Configuration:
    """One person with these channels and no night, and nothing else."""
    return Configuration(
        mqtt=MqttConfiguration(),
        store=StoreConfiguration(Path("unused")),
        page=PageConfiguration(),
        people=(PersonConfiguration(person, urls, night=(0, 0)),),
        tanks=(),
        series=(),
        sources=(),
        boards=(),
        engine=EngineRules((), ()),
    )


def message(now_us: int, **changes: object) -> NewMessage:
    """An urgent message to sam over json."""
    new = NewMessage(1, "opened", "sam", "json", now_us, now_us, TITLE, BODY, Priority.URGENT)
    return replace(new, **changes)


def put(store: Store, now_us: int, *messages: NewMessage) -> None:
    """Commit messages, with the incidents that they tell of."""
    numbers = sorted({new.incident for new in messages if new.incident is not None})
    incidents = [IncidentRecord(replace(INCIDENT, number=number), TITLE, BODY) for number in numbers]
    store.commit(Commit(now_us, now_us, incidents=incidents, messages=messages))


def query(path: Path, statement: str) -> list[tuple]:
    """Rows as SQLite itself sees them."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(statement).fetchall()


def states(path: Path) -> list[str]:
    """State of every message, in order."""
    return [state for (state,) in query(path, "SELECT state FROM outbox ORDER BY id")]


def outcomes(path: Path) -> list[str | None]:
    """Outcome of every try, in order."""
    return [outcome for (outcome,) in query(path, "SELECT outcome FROM tries ORDER BY id")]
