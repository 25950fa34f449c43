"""The list of incidents, and the story of one."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import httpx
import pytest

from collector.alarm_record import ThreadRecord, Withdrawal
from collector.configuration import Configuration
from collector.store import Commit, Store
from rules import CAUSES, Evidence
from tests.pages import tank
from tests.pages.tank import HOUR, MINUTE, NOW


def words(html: str) -> str:
    """The page as it is read, without its tags."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def chart_lines(html: str, name: str) -> list[float]:
    """Places, in per cent from the left, of the vertical lines of a kind."""
    return [float(at) for at in re.findall(rf'class="moment {name}" x1="([\d.]+)%"', html)]


@pytest.fixture
def night(store: Store, configuration: Configuration) -> Store:
    """The heater has failed off and it lasts."""
    tank.fill(store, configuration, value=tank.cooling, hours=8)
    tank.raise_heater_incident(store, configuration.store.path)
    return store


def test_list_without_incidents_says_so(pages: httpx.Client) -> None:
    assert "No incident so far." in pages.get("/incidents").text


def test_list_tells_what_since_when_how_long_how_urgent_and_the_state(
    pages: httpx.Client, night: Store
) -> None:
    html = pages.get("/incidents").text
    told = "Heater failed off Display temperature Sat 7 Mar 2026, 00:15 2 h 30 min so far"
    assert f"{told} urgent unacknowledged" in words(html)
    assert '<time datetime="2026-03-06T23:15:00.000000Z">' in html
    assert 'href="/incidents/1"' in html


def test_list_is_newest_first_and_shows_more_on_request(pages: httpx.Client, store: Store) -> None:
    records = [tank.heater_incident(number, ended_us=NOW - MINUTE) for number in range(1, 8)]
    store.commit(Commit(NOW, NOW, incidents=records))
    html = pages.get("/incidents?last=3").text
    assert re.findall(r'href="/incidents/(\d+)"', html) == ["7", "6", "5"]
    assert "/incidents?last=12" in html
    html = pages.get("/incidents?last=12").text
    assert re.findall(r'href="/incidents/(\d+)"', html) == ["7", "6", "5", "4", "3", "2", "1"]
    assert "?last=" not in html


@pytest.mark.parametrize("last", ["0", "-1", "5001", "many", "1e3", "²", "9" * 400])
def test_wrong_length_of_the_list_is_named(pages: httpx.Client, store: Store, last: str) -> None:
    answer = pages.get("/incidents", params={"last": last})
    assert answer.status_code == 400
    assert "is not a whole number from 1 to 5000" in answer.text


def test_ended_incident_has_returned_to_normal(pages: httpx.Client, store: Store) -> None:
    """Words of ISA-18.2: returned to normal, unacknowledged."""
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident(ended_us=NOW - 30 * MINUTE)]))
    assert "2 h urgent returned to normal, unacknowledged" in words(pages.get("/incidents").text)


@pytest.mark.parametrize(
    ("record", "is_over", "told"),
    [
        (ThreadRecord(1, "acknowledged", "sam", NOW - 30 * MINUTE), False, "acknowledged by sam at 02:15"),
        (ThreadRecord(1, "shelved", "sam", NOW, NOW + HOUR), False, "shelved by sam until 03:45"),
        (ThreadRecord(1, "out of service", "sam", NOW), False, "out of service by sam at 02:45"),
        (ThreadRecord(1, "normal", "sam", NOW), True, "normal, acknowledged by sam at 02:45"),
        (ThreadRecord(1, "returned to normal, unacknowledged"), True, "returned to normal, unacknowledged"),
    ],
)
def test_who_has_answered_is_told_in_the_list_and_with_the_incident(
    pages: httpx.Client, store: Store, record: ThreadRecord, is_over: bool, told: str
) -> None:
    incident = tank.heater_incident(ended_us=NOW if is_over else None)
    store.commit(Commit(NOW, NOW, incidents=[incident], threads=[record]))
    assert f" urgent {told} " in words(pages.get("/incidents").text)
    story = words(pages.get("/incidents/1").text)
    assert f"{told[:1].upper()}{told[1:]}, 2 h 30 min" in story
    assert "Incident number 1 Cause" in story


def test_messages_that_were_withdrawn_say_so(pages: httpx.Client, night: Store) -> None:
    night.commit(Commit(NOW, NOW, withdrawals=[Withdrawal(1)]))
    story = words(pages.get("/incidents/1").text)
    assert "needed no more" in story
    assert "waiting" not in story


@pytest.mark.parametrize(
    ("cause", "series", "value", "limit", "told"),
    [
        ("over_limit", "temperature", 27.6, 27.5, "Value 27.6 °C Limit 27.5 °C"),
        ("over_danger_line", "temperature", 30.4, 30.0, "Value 30.4 °C Danger line 30.0 °C"),
        # A contact has two states and no limit between them.
        ("contact_alarm", "floor_leak", 1.0, 0.5, "Value closed Confidence"),
    ],
)
def test_story_calls_the_line_that_was_crossed_by_its_name(
    pages: httpx.Client, store: Store, cause: str, series: str, value: float, limit: float, told: str
) -> None:
    record = tank.heater_incident()
    evidence = Evidence(value=value, limit=limit, confidence=0.9)
    incident = replace(record.incident, cause=cause, series=(series,), evidence=evidence)
    store.commit(Commit(NOW, NOW, incidents=[replace(record, incident=incident)]))
    assert told in words(pages.get("/incidents/1").text)


def test_story_tells_the_words_the_evidence_and_the_instants(pages: httpx.Client, night: Store) -> None:
    text = words(pages.get("/incidents/1").text).replace("\N{NO-BREAK SPACE}", " ")
    for part in (
        "Heater failed: The reef 24.6 °C, danger about 05:10",
        "Act now: first look at the heater's plug, fuse and thermostat.",
        "First evidence Sat 7 Mar 2026, 00:15:00",
        "Alarm Sat 7 Mar 2026, 00:45:00, 30 min later",
        "Returned to normal not yet",
        f"Brinebell watches {CAUSES['heater_failed_off'].watches}.",
        "Value 24.6 °C",
        "Usual at this hour 25.3 °C to 25.7 °C",
        "Trend falling 0.31 °C/h",
        "Danger line 23.0 °C",
        "about 05:10, between 04:45 and 06:05",
        "Confidence 90 %",
        ", slope: -0.31 °C/h over 1 h",
    ):
        assert part in text, part


def test_story_tells_each_alarm_and_each_try(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.raise_heater_incident(store, configuration.store.path, ended_us=NOW - 30 * MINUTE)
    text = words(pages.get("/incidents/1").text).replace("\N{NO-BREAK SPACE}", " ")
    assert "00:45:00 heater failed off, Display temperature raised, urgent 24.6 °C" in text
    assert "02:15:00 heater failed off, Display temperature returned to normal 25.2 °C" in text
    assert "keeper over phone (opened) delivered" in text
    assert "00:45:01 : failed, no route to <host>" in text
    assert "00:45:33 : delivered" in text
    assert "keeper over mail (opened) waiting none yet" in text


def test_story_draws_the_concerned_series_with_first_evidence_and_alarm(
    pages: httpx.Client, night: Store
) -> None:
    html = pages.get("/incidents/1").text
    assert html.count('<svg class="chart"') == 1
    (evidence,), (alarm,) = chart_lines(html, "evidence"), chart_lines(html, "alarm")
    # From 75 min before the first evidence (half of what it lasts) until now: 225 min.
    assert evidence == pytest.approx(100 * 75 / 225, abs=0.02)
    assert alarm == pytest.approx(100 * 105 / 225, abs=0.02)
    assert chart_lines(html, "end") == []
    assert '<line class="limit"' in html
    line = re.search(r'<path class="line" d="M([^"]*)"', html)
    assert line is not None
    heights = [float(point.split(",")[1]) for point in line[1].split(" ")]
    assert heights[-1] - heights[len(heights) // 2] > 200  # falling: y grows downward


def test_story_of_an_ended_incident_shows_its_end_and_the_time_after(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=8)
    tank.raise_heater_incident(store, configuration.store.path, ended_us=NOW - 90 * MINUTE)
    html = pages.get("/incidents/1").text
    # 60 min before 00:15 to 60 min after 01:15.
    assert chart_lines(html, "end") == [pytest.approx(100 * 120 / 180, abs=0.02)]


def test_story_of_a_tank_that_is_not_configured_any_more(pages: httpx.Client, store: Store) -> None:
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident(tank="old_frag_tank")]))
    text = words(pages.get("/incidents/1").text)
    assert "Tank Old frag tank" in text
    assert "First evidence Fri 6 Mar 2026, 23:15:00" in text  # UTC
    assert "Nobody: no message was written about it." in text
    assert "No alarm is recorded with it." in text


@pytest.mark.parametrize("number", [0, 2, 2**63 - 1, 2**63, 10**40])
def test_incident_that_is_not_there_is_named(pages: httpx.Client, night: Store, number: int) -> None:
    answer = pages.get(f"/incidents/{number}")
    assert answer.status_code == 404
    assert f"There is no incident {number}." in answer.text


def test_long_incident_is_drawn_from_rollups(
    pages: httpx.Client, store: Store, configuration: Configuration
) -> None:
    tank.fill(store, configuration, hours=24 * 8, every_us=10 * MINUTE)
    record = tank.heater_incident()
    started_us = NOW - 5 * 24 * HOUR
    record = replace(
        record, incident=replace(record.incident, first_evidence_us=started_us, alarmed_at_us=started_us)
    )
    store.commit(Commit(NOW, NOW, incidents=[record]))
    html = pages.get("/incidents/1").text
    assert "5 days so far" in html
    assert re.search(r'<path class="line" d="M[\d, ]{1000,}"', html)


def test_story_tells_reasons_rivals_and_what_tells_them_apart(pages: httpx.Client, night: Store) -> None:
    html = pages.get("/incidents/1").text
    told = words(html)
    assert "Display temperature, slope: -0.31 °C/h over 1 h" in told
    heading = "What else it may be, and how to tell "
    rivals = "Or heater weak, about 45 % sure: a cold heater has failed. "
    assert f"{heading}{rivals}Or probe dry, about 30 % sure: is the probe under water?" in told


def test_story_without_rivals_has_no_heading_for_them(pages: httpx.Client, store: Store) -> None:
    record = tank.heater_incident()
    incident = replace(record.incident, evidence=replace(record.incident.evidence, rivals=()))
    store.commit(Commit(NOW, NOW, incidents=[replace(record, incident=incident)]))
    assert "What else it may be" not in pages.get("/incidents/1").text
