"""One series over a span."""

from __future__ import annotations

import re
from html import unescape
from itertools import pairwise
from pathlib import Path

import httpx
import pytest

from collector.configuration import Configuration
from collector.learning import record as record_fits
from collector.store import Commit, Store
from rules import Flag, PlannedWork, WeekProfile
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


def test_any_stretch_is_shown_on_the_clock_of_the_tank(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=24, every_us=MINUTE)
    form = {"series": "reef/temperature", "from": "2026-03-06T12:00", "to": "2026-03-06T14:00", "against": ""}
    html = pages.get("/history", params=form, follow_redirects=True).text
    assert "Fri 6 Mar 2026, 12:00 to Fri 6 Mar 2026, 14:00" in html
    assert "from 120 readings" in html
    assert 'aria-current="page">a day' not in html
    rows = re.findall(r"<td>(\d+)</td></tr>", html)
    assert [int(one) for one in rows] == [5] * 24


def test_another_time_is_drawn_over_this_one(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    """It was one degree warmer a day before: the same line, moved up."""
    tank.fill(
        store,
        configuration,
        hours=48,
        value=lambda name, at_us: (25.0 if at_us >= NOW - 24 * HOUR else 26.0) + (at_us // HOUR % 3) / 10,
    )
    html = pages.get("/series/reef/temperature?hours=24&against=day").text
    heights = {}
    for name in ("line", "other"):
        path = re.search(rf'<path class="{name}" d="M([^"M]*)"', html)
        assert path is not None
        heights[name] = [float(one.split(",")[1]) for one in path[1].split()]
    pairs = list(zip(heights["line"], heights["other"], strict=False))[:-1]
    offsets = {round(mine - other) for mine, other in pairs}
    assert len(pairs) > 300
    assert max(offsets) - min(offsets) <= 1
    assert min(offsets) > 100
    assert "and a day before as a dotted line" in html
    answer = pages.get("/series/reef/temperature?against=never")
    assert (answer.status_code, "against=never is none of" in answer.text) == (400, True)


def test_what_was_usual_then_is_that_of_each_night(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    """Learned a day ago as 25 to 26, and six hours ago as 24 to 25; nothing before."""
    tank.fill(store, configuration, hours=48)
    for at_us, centre in ((NOW - 24 * HOUR, 25.5), (NOW - 6 * HOUR, 24.5)):
        usual = WeekProfile("Europe/Madrid", ((centre,) * 96,), (0.5,) * 96, 0.95, "day", 0.4, 14)
        record_fits(store, [(0, usual)], fitted_us=at_us, applies_from_us=at_us)
    html = pages.get("/series/reef/temperature?hours=48").text
    path = re.search(r'<path class="usual-band" d="M([^"L]*)L', html)
    assert path is not None
    points = [tuple(map(float, one.split(","))) for one in path[1].split()]
    assert points[0][0] == pytest.approx(500, abs=6)
    step = [x for (x, y), (_, after) in pairwise(points) if after - y > 50]
    assert step == [pytest.approx(875, abs=6)]


def test_incidents_and_works_stand_under_the_chart(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=24)
    tank.raise_heater_incident(store, configuration.store.path, ended_us=NOW - HOUR)
    store.commit(
        Commit(NOW, NOW, planned_work=[PlannedWork("reef", "water_change", NOW - 9 * HOUR, NOW - 8 * HOUR)])
    )
    html = pages.get("/series/reef/temperature").text
    assert 'aria-label="Incidents: 1, heater failed off from' in html
    assert 'aria-label="Planned work: water change from' in html
    assert html.count('class="moment alarm"') == 1
    assert '<a href="/incidents/1">1, heater failed off</a>' in html
    # Another series is not concerned.
    assert "Incidents: 1" not in pages.get("/series/reef/ph").text


def test_history_lists_every_series(pages: httpx.Client, store: Store) -> None:
    html = pages.get("/history").text
    assert re.findall(r'href="/series/reef/(\w+)"', html) == [name for name, *_ in tank.SERIES]
    assert pages.get("/history?series=reef/ghost").status_code == 404
