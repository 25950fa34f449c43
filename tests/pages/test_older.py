"""Pages of what local retention has let go: from a real database, and without it in plain words."""

from __future__ import annotations

import contextlib
import html
import re
import signal
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from collector.clock import Clock
from collector.configuration import Configuration, StoreConfiguration
from collector.database import Archive, open_database
from collector.pages import serve_in_thread
from collector.pages.exporting import picture
from collector.pages.labels import Labels
from collector.pages.story import story_of
from collector.payloads import state_value
from collector.picture.process import PictureError
from collector.recordings import read_files
from collector.store import Readings, Store, StoreReader, Upkeep
from collector.units import converter
from tests.database.servers import Influx, influx
from tests.mirror.parts import mirror, until_all_sent
from tests.pages import tank
from tests.pages.tank import HOUR, MINUTE, NOW, SECOND

pytestmark = pytest.mark.influxdb

LATER = NOW + 60 * 24 * HOUR
# A day and more before the incident, so that retention lets it go; and across the edge of what it keeps.
OLD = "from=2026-03-05T08:00:00Z&to=2026-03-05T10:00:00Z"
EDGE = "from=2026-03-05T18:00:00Z&to=2026-03-06T03:30:00Z"
PAGES = (
    f"/incidents/1?{OLD}",
    f"/incidents/1/story.html?{OLD}",
    f"/incidents/1/readings.csv?{EDGE}",
    f"/series/reef/temperature?{OLD}",
    f"/series/reef/ph?{OLD}&against=day",
    f"/what-if/reef/temperature?{EDGE}&alarm_low=25.4",
)
AWAY = "Older readings are left out, because the database does not give them: "
MINUTES = "Drawn from minutes, because the database does not give the readings: "
Get = Callable[[str], str]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influx]:
    with influx(tmp_path_factory.mktemp("influx")) as server:
        yield server


@pytest.fixture(scope="module")
def configuration(tmp_path_factory: pytest.TempPathFactory, server: Influx) -> Configuration:
    """Two and a half days with an incident at their end, mirrored."""
    plain = tank.configuration(tmp_path_factory.mktemp("tank"))
    configuration = replace(plain, database=server.make("reef"))
    path = configuration.store.path
    with Store(path, synchronous="OFF") as store:
        store.register(configuration.series)
        tank.fill(store, configuration, hours=54, every_us=MINUTE, value=tank.cooling)
        # As fine as only single readings are, when the page is near enough.
        begin_us = tank.at("2026-03-05T08:00:00") + 20 * SECOND
        for at_us in range(begin_us, begin_us + 2 * HOUR, MINUTE):
            tank.commit(store, *(tank.row(index, at_us, 25.0 + at_us % 7 / 10) for index in range(2)))
        tank.raise_heater_incident(store, path, ended_us=NOW)
        with mirror(path, configuration.database):
            until_all_sent(path, configuration.database)
    return configuration


@pytest.fixture(scope="module")
def before(configuration: Configuration) -> dict[str, str]:
    """The pages while every reading was here; then retention does its work."""
    with pages(configuration) as get:
        found = {page: get(page) for page in PAGES}
    path = configuration.store.path
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        upkeep = Upkeep(store, is_mirrored=True)
        upkeep.catch_up(LATER)
        while upkeep.let_go(LATER - 30 * 24 * HOUR, 24 * HOUR) is not None:
            pass
        assert len(reader.readings(1, 0, NOW - 27 * HOUR).times_us) == 0
        assert len(reader.readings(1, 0, LATER).times_us) > 24 * 60
    return found


@contextlib.contextmanager
def pages(configuration: Configuration, *, prompt_s: float = 20.0, has_older: bool = True) -> Iterator[Get]:
    """The pages of a store with the database behind it, which are patient on a busy machine."""
    path, database = configuration.store.path, configuration.database
    archive = Archive(
        lambda: open_database(database, timeout_s=20), prompt_s=prompt_s, patience_s=0.1, alone_s=0.0
    )
    older, clock = archive if has_older else None, Clock(wall=lambda: LATER)
    with (
        contextlib.closing(archive),
        serve_in_thread(configuration, lambda: StoreReader(path, older), clock) as served,
        httpx.Client(base_url=served.address, trust_env=False, timeout=30) as client,
    ):
        yield lambda page: client.get(page).raise_for_status().text


def test_an_old_incident_looks_the_same_when_the_store_has_let_its_readings_go(
    configuration: Configuration, before: dict[str, str]
) -> None:
    with pages(configuration) as get:
        for page in PAGES:
            assert get(page) == before[page], page
    with pages(configuration, has_older=False) as get:
        # That it was not the store that had them still.
        for page in PAGES:
            assert get(page) != before[page], page


def test_on_a_fresh_card_charts_of_days_come_from_the_database(
    configuration: Configuration, before: dict[str, str], tmp_path: Path
) -> None:
    page = f"/series/reef/temperature?{OLD}"
    fresh = replace(configuration, store=StoreConfiguration(tmp_path))
    with Store(fresh.store.path) as store:
        store.register(fresh.series)
        tank.commit(store, tank.row(0, LATER - HOUR, 25.0), now_us=LATER)
    with pages(fresh) as get:
        # Its incident is what a card takes with it.
        assert svg(get(page), "line") == svg(before[page], "line") != ""
        page = PAGES[-1]
        assert alarms(get(page)) == alarms(before[page]) != []


def alarms(text: str) -> list[str]:
    return re.findall(r"Alarms [a-z ]+: \d+|from \d+ readings", text)


def svg(text: str, name: str) -> str:
    found = re.search(rf'<path class="{name}" d="([^"]*)"', text)
    return "" if found is None else found[1]


class Lacking(StoreReader):
    """Of no readings all are there."""

    def all_readings(self, series: int, start_us: int, end_us: int) -> tuple[Readings, str]:
        return self.readings(series, start_us, end_us), "The database sleeps"


def test_what_cannot_be_told_of_some_readings_is_not_told(configuration: Configuration) -> None:
    labels = Labels(configuration)
    with Lacking(configuration.store.path) as record:
        story = story_of(record, labels, 1, LATER)
        projected = story.series[0].projections
        assert [one.partition(". ")[2] for one in projected] == [
            "What came cannot be told. The database sleeps."
        ]
        with pytest.raises(PictureError, match="The database sleeps"):
            picture(record, labels, story, LATER)


def told_on(page: str) -> str:
    """Limits are tried on readings alone; a chart has minutes."""
    return AWAY if "what-if" in page else MINUTES


def test_without_an_answer_pages_show_what_the_store_has_and_say_so(
    server: Influx, configuration: Configuration, before: dict[str, str], tmp_path: Path
) -> None:
    server.stop()
    reason = f"{server.address} cannot be reached (Connection refused)"
    try:
        with pages(configuration) as get:
            for page in PAGES:
                if "readings.csv" not in page:
                    assert html.unescape(get(page)).count(f"{told_on(page)}{reason}.") == 1, page
            # The chart is there all the same, made of minutes.
            page = f"/series/reef/ph?{OLD}"
            assert len(svg(get(page), "line")) > 500
            # What is near the incident is here, and all pages of now ask for nothing older.
            assert reason not in get("/incidents/1") + get("/") + get("/incidents/1/story.md")
            table = get(f"/incidents/1/readings.csv?{EDGE}")
            remarks = [line for line in table.splitlines() if line.startswith("#")]
            assert remarks[0] == (
                "# reef/temperature is not whole from 2026-03-05T18:00:00.000000Z to "
                f"2026-03-06T00:00:00.000000Z: {AWAY}{reason}"
            )
            assert len(remarks) == len(configuration.series)
            # What it holds is read as ever, and what it lacks is what is not here.
            file = tmp_path / "readings.csv"
            file.write_text(table)
            recording = read_files([file], configuration, converter, state_value)
            assert not recording.skipped
            whole = before[f"/incidents/1/readings.csv?{EDGE}"].splitlines()
            assert len(recording) == len(table.splitlines()) - 1 - len(remarks) < len(whole) - 1
            assert set(table.splitlines()) - set(remarks) <= set(whole)
    finally:
        server.start()
    # One that takes the question and is silent: the page comes, and the next one, too.
    server.send(signal.SIGSTOP)
    try:
        with pages(configuration, prompt_s=0.1) as get:
            for page in PAGES[:2]:
                assert f"{MINUTES}it has not answered within 0." in html.unescape(get(page))
    finally:
        server.send(signal.SIGCONT)
