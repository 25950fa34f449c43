"""Other limits tried on what was recorded: what appears, what is gone, and what to write."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from itertools import pairwise

import httpx
import pytest

from collector.configuration import Configuration
from collector.pages import serve_in_thread
from collector.pages.spans import Span
from collector.pages.what_if import Alarm, Kept, Stretch, key_of
from collector.store import Store, StoreReader
from rules import PlannedWork
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import HOUR, MINUTE, NOW
from tests.pages.test_incidents import words

# Limits of `tank`: under 24.5 degC for 10 min, with a deadband of 0.15 and an off-delay of 15 min; danger
# lines 23 and 28 degC.
DIPS = ((NOW - 30 * HOUR, 24.3), (NOW - 20 * HOUR, 24.0), (NOW - 10 * HOUR, 23.4))
LASTS = 2 * HOUR


def value(name: str, at_us: int) -> float:
    """25.5 degC, and three dips of two hours, each deeper than the one before."""
    for from_us, low in DIPS:
        if name == "temperature" and from_us <= at_us < from_us + LASTS:
            return low
    return tank.usual(name, at_us)


@pytest.fixture(scope="module")
def configuration(tmp_path_factory: pytest.TempPathFactory) -> Configuration:
    return tank.configuration(tmp_path_factory.mktemp("dips") / "store")


@pytest.fixture(scope="module")
def dips(configuration: Configuration) -> Iterator[Store]:
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        tank.fill(store, configuration, hours=48, value=value)
        yield store


@pytest.fixture(scope="module")
def pages(dips: Store, configuration: Configuration) -> Iterator[httpx.Client]:
    with (
        serve_in_thread(configuration, lambda: StoreReader(dips.path), standing_clock()) as server,
        httpx.Client(base_url=server.address, trust_env=False) as client,
    ):
        yield client


def alarms(
    store: Store,
    configuration: Configuration,
    *works: PlannedWork,
    kept: Kept | None = None,
    **limits: float,
) -> list[Alarm]:
    """What the temperature's limits give, some of them moved."""
    (rules,) = [one for one in configuration.engine.series if one.name == "temperature"]
    moved = tuple(replace(one, setpoint=limits.get(key_of(one), one.setpoint)) for one in rules.limit_alarms)
    with StoreReader(store.path) as reader:
        span = Span(NOW - 48 * HOUR, NOW + 1, "Europe/Madrid")
        stretch = Stretch(reader.series_id("reef", "temperature"), span, works, 0, reader)
        return (kept or Kept()).judge(stretch, replace(rules, limit_alarms=moved))


def test_engine_judges_as_it_would_have(dips: Store, configuration: Configuration) -> None:
    """To the minute: after the on-delay, until the off-delay."""
    assert alarms(dips, configuration) == [
        Alarm("under_limit", from_us + 10 * MINUTE, from_us + LASTS + 15 * MINUTE) for from_us, _ in DIPS
    ]


def test_alarms_during_planned_work_are_left_out(dips: Store, configuration: Configuration) -> None:
    begin_us = DIPS[1][0] - 5 * MINUTE
    work = PlannedWork("reef", "water_change", begin_us, begin_us + LASTS + HOUR)
    assert len(alarms(dips, configuration, work)) == 2


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ("", "3 alarms as it is. Move a limit to see what would change."),
        ("alarm_low=24.5", "3 alarms as it is."),
        ("alarm_low=24.1", "2 alarms instead of 3: 1 gone, 0 new."),
        ("alarm_low=23,5", "1 alarm instead of 3: 2 gone, 0 new."),
        ("danger_low=23.6", "4 alarms instead of 3: 0 gone, 1 new."),
        ("alarm_low=24.45", "Nothing changes: 3 alarms, as it is."),
    ],
)
def test_what_would_change_is_told_in_a_sentence(
    pages: httpx.Client, dips: Store, query: str, told: str
) -> None:
    assert told in words(pages.get(f"/what-if/reef/temperature?{query}").text)


def test_what_changes_is_listed_and_can_be_taken_over(pages: httpx.Client, dips: Store) -> None:
    html = pages.get("/what-if/reef/temperature?alarm_low=24.1").text
    text = words(html).replace("\N{NO-BREAK SPACE}", " ")
    # 30 hours before quarter to three on Saturday, and the on-delay.
    assert "Thu 5 Mar 2026, 20:55 gone under limit 2 h 5 min" in text
    assert '[tanks.reef.series.temperature] alarm_low = "24.1 degC" # it was 24.5 degC' in text
    assert "--try 'tanks.reef.series.temperature.alarm_low=24.5 degC, 24.1 degC'" in text
    assert html.count('class="was"') == 1
    assert 'aria-label="Alarms as it is: 3:' in html
    assert 'aria-label="Alarms with the limits tried: 2:' in html


@pytest.mark.parametrize(
    ("path", "status", "told"),
    [
        ("/what-if/reef/temperature?alarm_low=low", 400, "alarm_low=low is no number"),
        ("/what-if/reef/temperature?alarm_low=nan", 400, "alarm_low=nan is no number"),
        ("/what-if/reef/temperature?alarm_low=1e999", 400, "is no number"),
        ("/what-if/reef/temperature?alarm_low=22", 400, "danger_low = 23 must be below alarm_low = 22"),
        ("/what-if/reef/temperature?from=2026-01-01T00:00&to=2026-03-01T00:00", 400, "more than 8 days"),
        ("/what-if/reef/floor_leak", 404, "no limit that could be moved"),
        ("/what-if/reef/ghost", 404, "There is no series reef/ghost"),
    ],
)
def test_what_cannot_be_tried_is_told(
    pages: httpx.Client, dips: Store, path: str, status: int, told: str
) -> None:
    answer = pages.get(path)
    assert answer.status_code == status
    assert told in unescape(answer.text)


def test_tightening_a_limit_never_takes_an_alarm_away(dips: Store, configuration: Configuration) -> None:
    kept = Kept()
    setpoints = (23.2, 23.45, 24.05, 24.2, 24.4, 25.0)
    found = [alarms(dips, configuration, kept=kept, alarm_low=setpoint) for setpoint in setpoints]
    for looser, tighter in pairwise(found):
        assert all(any(one.meets(other) for other in tighter) for one in looser)
    assert [len(one) for one in found[:5]] == [0, 1, 2, 2, 3]
    # What was kept changes nothing, also where danger lines were moved in between.
    assert alarms(dips, configuration, kept=kept, danger_low=23.6) == alarms(
        dips, configuration, danger_low=23.6
    )
    assert alarms(dips, configuration, kept=kept) == alarms(dips, configuration)
