"""What the page that shows now says: over a real store, through a real server."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest

from collector.configuration import Configuration
from collector.pages import BrokerState, serve_in_thread
from collector.readings import Mark
from collector.store import Commit, Store, StoreReader
from rules import Flag, Learning, PoorFit, WeekProfile
from tests.pages import tank
from tests.pages.conftest import Serve, standing_clock
from tests.pages.tank import HOUR, MINUTE, NOW


def sentence(pages: httpx.Client) -> str:
    found = re.search(r'<h1 class="sentence".*?<span[^>]*>(.*?)</span>', pages.get("/").text, re.DOTALL)
    assert found is not None
    return unescape(found[1]).replace("\N{NO-BREAK SPACE}", " ")


def row(pages: httpx.Client, title: str) -> list[str]:
    """The texts of a row's cells."""
    for found in re.findall(r"<tr role.*?</tr>", pages.get("/").text, re.DOTALL):
        cells = re.findall(r"<(?:th|td)\b.*?</(?:th|td)>", found, re.DOTALL)
        texts = [" ".join(unescape(re.sub(r"<[^>]+>", "", cell)).split()) for cell in cells]
        if texts[0].startswith(title):
            return texts
    raise AssertionError(f"no row of {title}")


# -- the sentence ------------------------------------------------------------------------------------


def test_without_readings_nothing_is_watched(pages: httpx.Client) -> None:
    assert sentence(pages) == "No readings yet: nothing is watched"


def test_quiet_tank_without_an_incident(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    assert sentence(pages) == "All quiet, no incident so far"


@pytest.mark.parametrize(
    ("ended_us", "since"),
    [
        (NOW - 30 * MINUTE, "02:15"),
        # Madrid's midnight is 23:00 UTC in winter: one minute before it is another day.
        (NOW - 2 * HOUR - 46 * MINUTE, "Friday 23:59"),
        (NOW - 2 * HOUR - 45 * MINUTE, "00:00"),
        (NOW - 10 * 24 * HOUR, "25 Feb 2026, 02:45"),
    ],
)
def test_quiet_since_the_last_incident_ended(
    pages: httpx.Client, store: Store, configuration: Configuration, ended_us: int, since: str
) -> None:
    tank.fill(store, configuration, hours=2)
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident(ended_us=ended_us)]))
    assert sentence(pages) == f"All quiet since {since}"


def test_urgent_incident_is_told_with_value_trend_and_danger(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, value=tank.cooling, hours=6)
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident()]))
    assert sentence(pages) == "Urgent: heater failed off, 24.6 °C falling, danger about 05:10"
    assert "first look at the heater" in pages.get("/").text
    assert row(pages, "Display temperature")[0] == "Display temperature ▲ incident, urgent"


def test_projected_danger_that_did_not_come_is_not_told_as_ahead(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    record = tank.heater_incident()
    evidence = replace(record.incident.evidence, danger_at_us=NOW - 5 * MINUTE)
    record = replace(record, incident=replace(record.incident, evidence=evidence))
    store.commit(Commit(NOW, NOW, incidents=[record]))
    assert sentence(pages).endswith("danger was expected 02:40")


@pytest.mark.parametrize(
    ("value", "is_beyond"), [(22.99, True), (23.0, False), (23.01, False), (28.0, False), (28.01, True)]
)
def test_value_beyond_a_danger_line_is_told_as_that(
    pages: httpx.Client, store: Store, configuration: Configuration, value: float, is_beyond: bool
) -> None:
    tank.commit(store, tank.row(0, NOW, value))
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident()]))
    assert ("beyond the danger line" in sentence(pages)) is is_beyond


def test_worst_incident_is_told_and_the_others_are_counted(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    urgent = tank.heater_incident(1)
    low = replace(
        tank.heater_incident(2).incident,
        cause="under_limit",
        series=("reservoir",),
        priority=tank.Priority.LOW,
    )
    store.commit(Commit(NOW, NOW, incidents=[urgent, replace(urgent, incident=low)]))
    assert sentence(pages).startswith("Urgent: heater failed off")
    assert sentence(pages).endswith(", and 1 more incident")


def test_the_worst_incident_stands_first_and_each_of_several_bears_its_name(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    urgent = tank.heater_incident(1)
    low = replace(tank.heater_incident(2).incident, priority=tank.Priority.LOW)
    later = replace(tank.heater_incident(3).incident)
    store.commit(
        Commit(
            NOW,
            NOW,
            incidents=[
                urgent,
                replace(urgent, incident=low, title="Too low: Top-off reservoir 4.9 L"),
                replace(urgent, incident=later, title="Contact alarm: Floor leak"),
            ],
        )
    )
    told = re.findall(r'<p class="told">\s*<strong>(.*?)</strong>', pages.get("/").text, re.DOTALL)
    assert [unescape(one).split(":")[0] for one in told] == ["Contact alarm", "Heater failed", "Too low"]


def test_a_lone_incident_is_not_named_twice(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident()]))
    assert "<strong>" not in pages.get("/").text


@pytest.mark.parametrize("cause", ["probe_silent", "device_offline"])
def test_a_probe_lost_beyond_the_danger_line_does_not_hide_the_line(
    pages: httpx.Client, store: Store, configuration: Configuration, cause: str
) -> None:
    tank.fill(store, configuration, hours=2)
    record = tank.heater_incident()
    keys = [tank.AlarmKey("reef", "temperature", one) for one in ("over_danger_line", cause)]
    for alarms, is_told in ((keys[1:], False), (keys, True)):
        incident = replace(record.incident, cause=cause, alarms=tuple(alarms))
        store.commit(Commit(NOW, NOW, incidents=[replace(record, incident=incident)]))
        assert sentence(pages).endswith("since Friday 23:45" + ", the danger line was crossed" * is_told)


@pytest.mark.parametrize(
    ("age_us", "words"),
    [
        (15 * MINUTE - 1, "All quiet, no incident so far"),
        (15 * MINUTE, "All quiet, no incident so far"),
        (15 * MINUTE + 1, "No readings since 02:29: nothing is watched"),
    ],
)
def test_quiet_is_only_claimed_while_readings_arrive(
    pages: httpx.Client, store: Store, configuration: Configuration, age_us: int, words: str
) -> None:
    rows = [tank.row(index, NOW - age_us, 8.0) for index in range(len(configuration.series))]
    tank.commit(store, *rows)
    assert sentence(pages) == words


def test_one_silent_series_is_named(pages: httpx.Client, store: Store, configuration: Configuration) -> None:
    rows = [tank.row(index, NOW, 8.0) for index in range(len(configuration.series)) if index != 2]
    tank.commit(store, *rows, tank.row(2, NOW - HOUR, 35.0))
    assert sentence(pages) == "Quiet, no incident so far, but Salinity is silent"
    assert row(pages, "Salinity")[5] == "1 h ago silent"


# -- rows --------------------------------------------------------------------------------------------


def test_every_configured_series_has_a_row_in_its_order(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=2)
    titles = re.findall(
        r'<th scope="row" role="rowheader"><a [^>]*>(.*?)</a>', pages.get("/").text, re.DOTALL
    )
    assert titles == [title for _, _, title in tank.SERIES]


@pytest.mark.parametrize(
    ("slope_per_hour", "words"),
    [
        (0.31, "rising 0.31 °C/h"),
        (-0.31, "falling 0.31 °C/h"),
        (0.051, "rising 0.051 °C/h"),
        (0.049, "steady, under 0.05 °C/h"),
        (-0.049, "steady, under 0.05 °C/h"),
        (-0.051, "falling 0.051 °C/h"),
    ],
)
def test_trend_over_the_last_hour_in_words_and_number(
    pages: httpx.Client, store: Store, slope_per_hour: float, words: str
) -> None:
    times = range(NOW - HOUR, NOW + 1, MINUTE)
    tank.commit(store, *(tank.row(0, at, 25.0 + slope_per_hour * (at - NOW) / HOUR) for at in times))
    assert row(pages, "Display temperature")[2] == words


def test_trend_is_not_moved_by_a_hand_in_the_water(pages: httpx.Client, store: Store) -> None:
    """Five odd minutes of sixty: fewer than the 29 % that a Theil-Sen slope bears (Sen 1968)."""
    times = range(NOW - HOUR, NOW + 1, MINUTE)
    odd = NOW - 30 * MINUTE
    values = [23.0 if odd <= at < odd + 5 * MINUTE else 25.0 + 0.4 * (at - NOW) / HOUR for at in times]
    tank.commit(store, *(tank.row(0, at, value) for at, value in zip(times, values, strict=True)))
    assert row(pages, "Display temperature")[2] == "rising 0.4 °C/h"


def test_series_with_less_than_half_an_hour_has_no_trend(pages: httpx.Client, store: Store) -> None:
    tank.commit(store, *(tank.row(0, at, 25.0) for at in range(NOW - 20 * MINUTE, NOW + 1, MINUTE)))
    assert row(pages, "Display temperature")[2] == "no trend"


@pytest.mark.parametrize(
    ("flag", "word"),
    [
        (Flag.PASS, "pass"),
        (Flag.NOT_EVALUATED, "not evaluated"),
        (Flag.SUSPECT, "suspect"),
        (Flag.FAIL, "fail"),
        (Flag.MISSING, "missing"),
    ],
)
def test_quality_is_a_word_of_the_flag(pages: httpx.Client, store: Store, flag: Flag, word: str) -> None:
    """The words are those of the QARTOD Data-Flags Manual v1.2."""
    value = float("nan") if flag is Flag.MISSING else 25.0
    tank.commit(store, tank.row(0, NOW, value, flag=flag))
    cells = row(pages, "Display temperature")
    assert cells[4] == word
    assert cells[1] == ("not measured" if flag is Flag.MISSING else "25.0 °C")


def test_reading_whose_time_is_unknown_says_so(pages: httpx.Client, store: Store) -> None:
    tank.commit(store, tank.row(0, NOW, 25.0, mark=Mark.TIME_UNKNOWN))
    assert row(pages, "Display temperature")[4] == "pass, time unknown"


def test_last_day_is_drawn_and_told_as_a_range(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=24, value=lambda name, at: 20.0 if at < NOW - HOUR else 26.5)
    cells = row(pages, "Display temperature")
    assert cells[3] == "20.0 to 26.5 °C"
    path = re.search(r'data-path="reef/temperature:line" d="(M[^"]*)"', pages.get("/").text)
    assert path is not None
    assert 90 <= path[1].count(" ") + 1 <= 97  # a quarter hour each


def test_contact_is_told_in_words(pages: httpx.Client, store: Store) -> None:
    tank.commit(store, tank.row(7, NOW, 1.0))
    assert row(pages, "Floor leak contact")[1:3] == ["closed", "no trend"]


# -- boards, broker, several tanks -------------------------------------------------------------------


def test_boards_and_broker_are_told(pages: httpx.Client, store: Store, configuration: Configuration) -> None:
    tank.set_board(store, "sump", is_online=True, since_us=NOW - 26 * HOUR)
    tank.set_board(store, "chemistry", is_online=False, since_us=NOW - HOUR)
    text = " ".join(re.sub(r"<[^>]+>", "", pages.get("/").text).split())
    assert "Boards: chemistry offline since 01:45; sump online since Friday 00:45" in text
    assert "Broker:" not in text


@pytest.mark.parametrize(
    ("state", "words"),
    [
        (BrokerState(True, NOW - HOUR), "Broker: connected since 01:45"),
        (BrokerState(True, NOW - HOUR, True), "Broker: connected since 01:45, catching up"),
        (BrokerState(False, NOW - HOUR), "Broker: not connected since 01:45"),
        (BrokerState(False), "Broker: not connected, never was"),
    ],
)
def test_broker_is_told_as_the_service_says(
    store: Store, configuration: Configuration, state: BrokerState, words: str
) -> None:
    path = configuration.store.path
    with serve_in_thread(
        configuration, lambda: StoreReader(path), standing_clock(), broker=lambda: state
    ) as server:
        assert f">{words}</p>" in httpx.get(server.address, trust_env=False).text


def test_several_tanks_have_a_section_each_and_the_worst_is_told_first(tmp_path: Path, serve: Serve) -> None:
    configuration = tank.configuration(tmp_path, tanks=[("reef", "The reef"), ("nursery", "Coral nursery")])
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        tank.fill(store, configuration, hours=2)
        with httpx.Client(base_url=serve(configuration).address, trust_env=False) as pages:
            assert sentence(pages) == "All tanks are quiet"
            store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident(tank="nursery")]))
            assert sentence(pages).startswith("Coral nursery: Urgent: heater failed off, ")
            headings = re.findall(r"<h2[^>]*>(.*?)</h2>", pages.get("/").text)
            assert headings == ["The reef", "Coral nursery"]
            assert 'data-key="reef:sentence">All quiet, no incident so far<' in pages.get("/").text


# -- JSON --------------------------------------------------------------------------------------------


def test_json_says_the_same_in_canonical_units(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, value=tank.cooling, hours=6)
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident()]))
    tank.set_board(store, "sump", is_online=True, since_us=NOW - HOUR)
    answer = pages.get("/now.json")
    assert answer.headers["content-type"] == "application/json"
    now = answer.json()
    assert now["at"] == "2026-03-07T01:45:00.000000Z"
    assert now["sentence"] == "Urgent: heater failed off, 24.6 °C falling, danger about 05:10"
    assert now["broker"] is None
    (reef,) = now["tanks"]
    assert reef["boards"] == [{"name": "sump", "online": True, "since": "2026-03-07T00:45:00.000000Z"}]
    assert [one["number"] for one in reef["incidents"]] == [1]
    first, second = reef["series"][:2]
    assert first["value"] == tank.cooling("temperature", NOW)
    assert first["change_per_hour"] == pytest.approx(-0.31, abs=1e-6)
    assert {key: first[key] for key in ("series", "unit", "flag", "quality", "age_s", "silent")} == {
        "series": "reef/temperature",
        "unit": "degC",
        "flag": 1,
        "quality": "pass",
        "age_s": 0.0,
        "silent": False,
    }
    assert first["incidents"] == [1]
    assert second["incidents"] == []


def test_json_of_an_empty_store_has_nulls(pages: httpx.Client, store: Store) -> None:
    first = pages.get("/now.json").json()["tanks"][0]["series"][0]
    assert (first["value"], first["observed_at"], first["age_s"], first["flag"]) == (None, None, None, None)
    assert first["silent"] is True


# -- what is usual -----------------------------------------------------------------------------------


class Fit(NamedTuple):
    """A fit as the service tells of it."""

    fitted: WeekProfile | Learning | PoorFit
    fitted_us: int = NOW


def test_what_is_usual_now_is_told_or_why_it_is_not_known(store: Store, configuration: Configuration) -> None:
    tank.fill(store, configuration, hours=2)
    profile = WeekProfile("Europe/Madrid", ((25.4,) * 96,), (0.2,) * 96, 0.993, "day", 0.4, 28, NOW)
    known = {0: Fit(profile), 1: Fit(Learning(2)), 3: Fit(PoorFit("skill", 0.97, 8.0))}
    path = configuration.store.path
    with (
        serve_in_thread(
            configuration, lambda: StoreReader(path), standing_clock(), usual=lambda: known
        ) as server,
        httpx.Client(base_url=server.address) as pages,
    ):
        assert [row(pages, title)[6] for title in ("Display temperature", "Display pH", "Top-off")] == [
            "within 25.2 to 25.6 °C",
            "learning, day 3 of 7",
            "no usual pattern",
        ]
        # Not fitted yet, and never to be.
        assert row(pages, "Salinity")[6].startswith("learning, day 1 of 7")
        assert row(pages, "Floor leak contact")[6] == ""
        told = {one["series"]: one["usual"] for one in pages.get("/now.json").json()["tanks"][0]["series"]}
    assert told["reef/temperature"] == {
        "state": "known",
        "low": pytest.approx(25.2),
        "high": pytest.approx(25.6),
        "coverage": 0.993,
        "pattern": "day",
        "guards": [],
    }
    assert told["reef/ph"] == {"state": "learning", "day": 3, "of": 7, "guards": ["silence"]}
    assert told["reef/reservoir"] == {"state": "poor", "reason": "skill", "guards": ["silence"]}
    assert told["reef/floor_leak"] is None
