"""One message at the start after an outage, whatever is killed in between."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from sqlite3 import connect

import pytest

from collector.notices import OUTAGE_NOTE, Missed, Notices, Outage, missed
from collector.store import Commit, Store, StoreReader
from rules import HOUR_US
from tests.intake.parts import MINUTE, SECOND, START_US, configuration
from tests.telling.parts import person

NOTHING = Missed((), ())


class Service:
    """As the service does it: what is noticed goes into its commits, of which the first one comes at once."""

    def __init__(
        self,
        folder: Path,
        now_us: int,
        found: Missed = NOTHING,
        begun: Callable[[], int | None] | None = None,
    ) -> None:
        self.configuration = configuration(folder)
        self.path = self.configuration.store.path
        self.store = Store(self.path, synchronous="OFF")
        self.ids = self.store.register(self.configuration.series)
        self.now_us = now_us
        with StoreReader(self.path) as reader:
            last_us = reader.last_commit_us
        note = self.store.note(OUTAGE_NOTE)
        outage = Outage(note, last_us, now_us, "UTC", 10 * MINUTE, lambda *_: found, begun)
        people = [person("sam", channels=("json",)), person("kim", channels=("mailto",))]
        self.notices = Notices([outage], people, "UTC")

    def round(self, *, is_live: bool) -> None:
        self.notices.turn(self.now_us, is_connected=is_live, is_catching_up=not is_live)
        noticed = self.notices.drain()
        self.store.commit(
            Commit(self.now_us, self.now_us, messages=noticed.messages, notes=dict(noticed.notes))
        )
        self.now_us += SECOND

    def kill(self) -> int:
        self.store.close()
        return self.now_us

    def told(self) -> list[tuple[str, str, str]]:
        with closing(connect(self.path)) as connection:
            return connection.execute("SELECT person, title, body FROM outbox ORDER BY id").fetchall()


@pytest.fixture
def lived(tmp_path: Path) -> Path:
    """A service that lived until START_US."""
    service = Service(tmp_path, START_US - SECOND)
    service.round(is_live=True)
    service.round(is_live=True)
    service.kill()
    return tmp_path


@pytest.mark.parametrize(("minutes", "count"), [(1, 0), (9, 0), (10, 2), (600, 2)])
def test_only_an_outage_that_was_long_enough_is_told_to_each_once(
    lived: Path, minutes: int, count: int
) -> None:
    service = Service(lived, START_US + minutes * MINUTE)
    for _ in range(3):
        service.round(is_live=True)
    service.kill()
    assert len(service.told()) == count


@pytest.mark.parametrize(("minutes", "told"), [(9, []), (240, ["Brinebell was away for 4 h"] * 2)])
@pytest.mark.parametrize("is_killed", [False, True])
def test_where_nobody_knows_the_time_it_is_found_out_later_whether_there_was_an_outage(
    lived: Path, minutes: int, told: list[str], is_killed: bool
) -> None:
    """The machine boots with the time at which the current failed, and hears the true one after a minute."""
    service = Service(lived, START_US + SECOND, begun=lambda: None)
    for _ in range(60):
        service.round(is_live=True)
    if is_killed:
        service = Service(lived, service.kill(), begun=lambda: None)
        service.round(is_live=True)
    assert service.told() == []
    now_us = service.kill() + minutes * MINUTE
    begun = [None, START_US + minutes * MINUTE]
    service = Service(lived, now_us, begun=lambda: begun[0])
    service.round(is_live=True)
    begun.pop(0)
    for _ in range(3):
        service.round(is_live=True)
    service.kill()
    assert [title for _, title, _ in service.told()] == told


def test_the_first_start_of_all_is_no_outage(tmp_path: Path) -> None:
    service = Service(tmp_path, START_US)
    service.round(is_live=True)
    service.kill()
    assert service.told() == []


@pytest.mark.parametrize("kills", [(k1, k2) for k1 in range(5) for k2 in range(5)], ids=str)
def test_it_is_told_exactly_once_wherever_the_service_is_killed(lived: Path, kills: tuple[int, int]) -> None:
    """Killed behind each number of commits, twice in a row: before the first one, and behind the message."""
    now_us = START_US + 4 * HOUR_US
    for commits in kills:
        service = Service(lived, now_us)
        for number in range(commits):
            service.round(is_live=number >= 2)
        now_us = service.kill() + SECOND
    service = Service(lived, now_us)
    for number in range(5):
        service.round(is_live=number >= 2)
    service.kill()
    told = service.told()
    assert [one[0] for one in told] == ["sam", "kim"]
    assert told[0][1] == "Brinebell was away for 4 h"


def test_it_waits_for_the_backlog_but_not_for_ever(lived: Path) -> None:
    service = Service(lived, START_US + HOUR_US)
    for _ in range(9 * 60):
        service.round(is_live=False)
    assert service.told() == []
    for _ in range(2 * 60):
        service.round(is_live=False)
    service.kill()
    assert [body for _, _, body in service.told()] == [
        "Nobody watched from 14:13 to 15:13. The broker is not reached yet."
    ] * 2


@pytest.mark.parametrize(
    ("found", "body"),
    [
        (NOTHING, "The broker kept the readings of that time. No alarm is open now."),
        (Missed(["pH"], []), "No readings of that time: pH. No alarm is open now."),
        (
            Missed(["Water", "pH", "Salinity"], ["Heater failed: Reef 25 C", "x"]),
            "No readings of that time: Water, pH and 1 more. Open now: Heater failed: Reef 25 C and 1 more.",
        ),
    ],
)
def test_it_says_what_was_missed_and_what_is_open(lived: Path, found: Missed, body: str) -> None:
    service = Service(lived, START_US + 4 * HOUR_US + 30 * MINUTE, found)
    for _ in range(2):
        service.round(is_live=True)
    service.kill()
    _, title, told = service.told()[0]
    assert title == "Brinebell was away for 4 h 30 min"
    assert told == f"Nobody watched from 14:13 to 18:43. {body}"
    assert len(title) <= 60
    assert len(told.split()) <= 40


def test_a_series_is_missed_where_it_spoke_as_long_before_and_not_meanwhile(tmp_path: Path) -> None:
    settings = configuration(tmp_path)
    with Store(settings.store.path, synchronous="OFF") as store:
        ids = store.register(settings.series)
        rows = [
            (1, START_US - MINUTE, 300.0, 1, 0, 0, 0, b""),
            (0, START_US - 3 * HOUR_US, 25.0, 1, 0, 0, 0, b""),
        ]
        store.commit(Commit(START_US, START_US, rows=rows))
        with StoreReader(settings.store.path) as reader:

            def series(hours: int) -> list[str]:
                return list(missed(reader, settings, ids, START_US, START_US + hours * HOUR_US).series)

            assert series(1) == ["redox"]
            # The temperature speaks every few hours: of four it is missed.
            assert series(4) == ["temperature", "redox"]
            store.commit(Commit(START_US, START_US, rows=[(1, START_US + MINUTE, 300.0, 1, 0, 0, 0, b"")]))
            assert series(1) == []
