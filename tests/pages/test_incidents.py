"""The list of incidents, and the story of one."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import httpx
import pytest

from collector.alarm_record import ThreadRecord, Withdrawal
from collector.configuration import Configuration
from collector.requests import Answer, Request
from collector.reviews import GiveVerdict
from collector.store import Commit, Store
from rules import CAUSES, Evidence, Priority
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


def test_list_is_newest_first_and_goes_on_page_by_page(pages: httpx.Client, store: Store) -> None:
    records = [tank.heater_incident(number, ended_us=NOW - MINUTE) for number in range(1, 55)]
    store.commit(Commit(NOW, NOW, incidents=records))
    html = pages.get("/incidents?priority=urgent").text
    assert numbers(html) == list(range(54, 4, -1))
    assert "Newer ones" not in html
    (older,) = re.findall(r'href="([^"]*)">Earlier ones', html)
    html = pages.get(unescape(older)).text
    assert numbers(html) == [4, 3, 2, 1]
    assert 'href="/incidents?priority=urgent">Newer ones' in html
    assert "Earlier ones" not in html


def numbers(html: str) -> list[int]:
    return [int(one) for one in re.findall(r'href="/incidents/(\d+)"', html)]


@pytest.fixture
def several(store: Store) -> None:
    """Four incidents of three days, two of them seen to, one of another cause, one with a verdict."""
    one = tank.heater_incident()
    first = replace(one.incident, number=1, ended_at_us=NOW - 71 * HOUR, first_evidence_us=NOW - 72 * HOUR)
    second = replace(one.incident, number=2, ended_at_us=NOW - 47 * HOUR, first_evidence_us=NOW - 48 * HOUR)
    third = replace(second, number=3, cause="probe_silent", priority=Priority.LOW)
    fourth = replace(one.incident, number=4)
    store.commit(
        Commit(
            NOW,
            NOW,
            incidents=[replace(one, incident=incident) for incident in (first, second, third, fourth)],
            threads=[
                ThreadRecord(2, "normal", "sam", NOW - 47 * HOUR),
                ThreadRecord(4, "acknowledged", "sam"),
            ],
            requests=[Request("one", NOW, "sam", GiveVerdict(3, "false"))],
        )
    )
    store.commit(Commit(NOW, NOW, answers=[Answer("one", True, "kept")]))


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("", [4, 3, 2, 1]),
        ("state=open", [4]),
        ("state=ended", [3, 2, 1]),
        ("state=acknowledged", [4]),
        # Nobody was told of these two by a version that records answers.
        ("state=returned to normal, unacknowledged", [3, 1]),
        ("cause=probe_silent", [3]),
        ("priority=low", [3]),
        ("verdict=false", [3]),
        ("verdict=none", [4, 2, 1]),
        # A day of the tank's wall: the first one ended in the night to Wednesday 4 March at 03:45.
        ("to=2026-03-04", [1]),
        ("from=2026-03-05", [4, 3, 2]),
        ("from=2026-03-05&to=2026-03-05&priority=urgent", [2]),
        ("cause=leak", []),
    ],
)
def test_list_is_looked_through(pages: httpx.Client, several: None, query: str, found: list[int]) -> None:
    html = pages.get(f"/incidents?{query}").text
    assert numbers(html) == found
    assert ("No incident is like that." in html) is not found


@pytest.mark.parametrize(
    ("query", "told"),
    [
        *(
            (f"page={page}", "is not a whole number from 1 to 10000")
            for page in ("0", "-1", "10001", "x", "²")
        ),
        ("state=asleep", "state=asleep is none of open, ended, unacknowledged"),
        ("cause=<b>", "cause=<b> is none of"),
        ("from=yesterday", "from=yesterday is no time"),
        ("to=9999-12-31", "to=9999-12-31 is no time"),
    ],
)
def test_what_cannot_be_looked_for_is_named(pages: httpx.Client, store: Store, query: str, told: str) -> None:
    answer = pages.get(f"/incidents?{query}")
    assert answer.status_code == 400
    assert told in unescape(answer.text)


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
    for told in (
        "00:45:00 Heater failed off, Display temperature: raised urgent, at 24.6 °C",
        "02:15:00 Heater failed off, Display temperature: returned to normal at 25.2 °C",
        "00:45:00 Message to keeper over phone (opened): Heater failed: The reef 24.6 °C, danger about 05:10",
        "danger about 05:10 delivered",
        "00:45:01 Try 1 to reach keeper over phone failed, after 2.0 s: no route to <host>",
        "00:45:33 Try 2 to reach keeper over phone delivered, after 1.0 s",
        "danger about 05:10 waiting",
        "02:15:00 All of it has returned to normal",
    ):
        assert told in text, told


def test_story_draws_the_concerned_series_with_first_evidence_and_alarm(
    pages: httpx.Client, night: Store
) -> None:
    html = pages.get("/incidents/1").text
    assert html.count('<svg class="chart') == 1
    (evidence,), (alarm,) = chart_lines(html, "evidence"), chart_lines(html, "alarm")
    # From 75 min before the first evidence (half of what it lasts) until now: 225 min; and on to where the
    # danger line is projected at the latest, 200 min from now, with a fortieth of the 225 min to spare.
    assert evidence == pytest.approx(100 * 75 / 430.625, abs=0.02)
    assert alarm == pytest.approx(100 * 105 / 430.625, abs=0.02)
    assert chart_lines(html, "end") == []
    assert '<line class="limit"' in html
    line = re.search(r'<path class="line" d="M([^"]*)"', html)
    assert line is not None
    heights = [float(point.split(",")[1]) for point in line[1].split(" ")]
    # Falling: y grows downward. The axis reaches from the danger line above to the one that was projected.
    assert heights[-1] - heights[len(heights) // 2] > 90


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
    assert "Nobody was told: no message was written about it." in text
    assert "No series of it is recorded." in text


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
