"""One series over a span."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import httpx
import pytest

from collector.configuration import Configuration
from collector.store import Store
from rules import Flag
from tests.pages import tank
from tests.pages.conftest import Serve
from tests.pages.tank import HOUR, MINUTE, NOW


def test_day_is_drawn_with_its_words_limits_and_table(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=24, every_us=MINUTE)
    html = pages.get("/series/reef/temperature").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "<h1>Display temperature, The reef</h1>" in html
    assert re.search(r"lowest 25\.\d °C, mean 25\.5 °C, highest 25\.\d °C, from 1441 readings", html)
    assert "danger line 23.0 °C; under limit 24.5 °C; danger line 28.0 °C" in html
    assert len(re.findall(r'<tr><th scope="row"><time', html)) == 24
    assert re.search(r'<a href="\?hours=24" aria-current="page">a day</a>', html)


def test_lowest_and_highest_are_those_of_the_readings(pages: httpx.Client, store: Store) -> None:
    """A single reading out of a day shows in the band however many readings share its bucket."""
    rows = [tank.row(0, NOW - at * MINUTE, 25.0) for at in range(24 * 60)]
    tank.commit(store, *rows, tank.row(0, NOW - 90 * MINUTE - 1, 27.3))
    html = pages.get("/series/reef/temperature?hours=24").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "lowest 25.0 °C, mean 25.0 °C, highest 27.3 °C, from 1441 readings" in html


def test_readings_that_failed_are_left_out(pages: httpx.Client, store: Store) -> None:
    tank.commit(store, tank.row(0, NOW, 25.0), tank.row(0, NOW - MINUTE, 80.0, flag=Flag.FAIL))
    assert "highest 25.0 °C, from 1 readings" in pages.get("/series/reef/temperature").text.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_gap_breaks_the_line(pages: httpx.Client, store: Store) -> None:
    times = [NOW - at * MINUTE for at in range(24 * 60) if not 300 <= at < 600]
    tank.commit(store, *(tank.row(0, at, 25.0) for at in times))
    line = re.search(r'<path class="line" d="([^"]*)"', pages.get("/series/reef/temperature").text)
    assert line is not None
    assert line[1].count("M") == 2


def test_series_with_a_reading_an_hour_is_one_line(pages: httpx.Client, store: Store) -> None:
    tank.commit(store, *(tank.row(0, NOW - at * HOUR, 25.0) for at in range(24)))
    line = re.search(r'<path class="line" d="([^"]*)"', pages.get("/series/reef/temperature").text)
    assert line is not None
    assert line[1].count("M") == 1


def test_series_without_a_reading_says_so(pages: httpx.Client, store: Store) -> None:
    html = pages.get("/series/reef/ph").text
    assert "Display pH: no usable reading in this time." in html
    assert "The same as a table" not in html


def test_week_comes_from_rollups_and_equals_the_readings(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=24 * 7, every_us=10 * MINUTE)
    html = pages.get("/series/reef/temperature?hours=168").text
    assert f"from {24 * 7 * 6 + 1} readings" in html
    assert ">6 Mar</text>" in html


@pytest.mark.parametrize(
    ("hours", "status"),
    [("1", 200), ("87840", 200), ("87841", 400), ("0", 400), ("-1", 400), ("x", 400), ("", 400)],
)
def test_span_has_bounds(pages: httpx.Client, store: Store, hours: str, status: int) -> None:
    answer = pages.get("/series/reef/temperature", params={"hours": hours})
    assert answer.status_code == status
    if status == 400:
        assert f"hours={hours} is not a whole number from 1 to 87840." in answer.text


@pytest.mark.parametrize("path", ["/series/reef/ghost", "/series/ghost/temperature"])
def test_series_that_is_not_configured_is_named(pages: httpx.Client, store: Store, path: str) -> None:
    answer = pages.get(path)
    assert answer.status_code == 404
    assert "There is no series" in answer.text


def test_series_that_was_never_stored_is_named(tmp_path: Path, serve: Serve) -> None:
    configuration = tank.configuration(tmp_path)
    with Store(configuration.store.path) as store:
        store.register(configuration.series[:1])
        answer = httpx.get(f"{serve(configuration).address}/series/reef/ph", trust_env=False)
    assert answer.status_code == 404
    assert "Series reef/ph has never been stored." in unescape(answer.text)


def test_largest_numbers_there_are_can_be_drawn(pages: httpx.Client, store: Store) -> None:
    tank.commit(
        store,
        *(tank.row(0, NOW - at * MINUTE, (-1) ** at * 1.7e308) for at in range(200)),
        *(tank.row(1, NOW - at * MINUTE, 5e-324 * at) for at in range(200)),
    )
    for path in ("/series/reef/temperature", "/series/reef/ph", "/series/reef/ph?hours=168", "/"):
        assert pages.get(path).status_code == 200, path
