"""The story of one incident: its timeline, what was projected and what came, what people say, its exports."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from html import unescape

import httpx
import pytest
from PIL import Image

from collector.alarm_record import LifeChange
from collector.annotations import read_annotations
from collector.configuration import Configuration
from collector.learning import record as record_fits
from collector.links import Links
from collector.pages import Answers, serve_in_thread
from collector.payloads import state_value
from collector.recordings import read_files
from collector.requests import Answer
from collector.reviews import AddNote, GiveVerdict, done_text
from collector.store import Commit, RequestBox, Store, StoreReader
from collector.units import converter
from rules import AlarmKey, AlarmLife, AlarmStep, PlannedWork, WeekProfile
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import HEATER_KEY, HOUR, MINUTE, NOW
from tests.pages.test_incidents import words

RAISED = AlarmLife().after(AlarmStep.RAISE)
SEEN = RAISED.after(AlarmStep.ACKNOWLEDGE)
EVIL = "<script>alert(1)</script> =1+1 | *it* \"smelt\" 'odd'"


# One night for the whole module: what a test adds leaves what the others look for as it is.
@pytest.fixture(scope="module")
def configuration(tmp_path_factory: pytest.TempPathFactory) -> Configuration:
    return tank.configuration(tmp_path_factory.mktemp("night") / "store")


@pytest.fixture(scope="module")
def store(configuration: Configuration) -> Iterator[Store]:
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        yield store


@pytest.fixture(scope="module")
def told(store: Store, configuration: Configuration) -> Store:
    """The night of the heater with all that people did: answered, worked, knew what is usual."""
    tank.fill(store, configuration, value=tank.cooling, hours=50, every_us=2 * MINUTE)
    usual = WeekProfile("Europe/Madrid", ((25.5,) * 96,), (0.25,) * 96, 0.95, "day", 0.4, 14)
    record_fits(store, [(0, usual)], fitted_us=NOW - 30 * HOUR, applies_from_us=NOW - 30 * HOUR)
    tank.raise_heater_incident(store, configuration.store.path)
    store.commit(
        Commit(
            NOW,
            NOW,
            lives=[
                LifeChange(HEATER_KEY, NOW - 120 * MINUTE, "raise", RAISED),
                LifeChange(HEATER_KEY, NOW - 80 * MINUTE, "acknowledge", SEEN, "sam", "on <b>my</b> way"),
            ],
            planned_work=[
                PlannedWork("reef", "water_change", NOW - 5 * HOUR, NOW - 4 * HOUR),
                PlannedWork("reef", "feeding_pause", NOW - 40 * MINUTE, NOW - 25 * MINUTE),
            ],
        )
    )
    return store


@pytest.fixture(scope="module")
def client(told: Store, configuration: Configuration) -> Iterator[httpx.Client]:
    path = configuration.store.path
    answers = Answers(Links(bytes(32), ""), lambda: RequestBox(path))
    with (
        serve_in_thread(
            configuration, lambda: StoreReader(path), standing_clock(), answers=answers
        ) as server,
        httpx.Client(base_url=server.address, trust_env=False) as client,
    ):
        yield client


def do_what_is_asked(store: Store) -> list[tuple[str, object]]:
    """The part of the service: answer what waits, in one commit; return who asked for what."""
    with StoreReader(store.path) as reader:
        waiting = reader.waiting_requests()
        answers = []
        for one in waiting:
            try:
                answers.append(Answer(one.id, True, done_text(one.asked, reader)))
            except ValueError as error:
                answers.append(Answer(one.id, False, str(error)))
    if answers:
        store.commit(Commit(NOW, NOW, answers=answers))
    return [(one.who, one.asked) for one in waiting]


def say(client: httpx.Client, store: Store, **fields: str) -> str:
    """Send the form of the page, let the service answer, and return the page that it leads to, as read."""
    (seal,) = set(re.findall(r'name="form" value="([^"]+)"', client.get("/incidents/1").text))
    with ThreadPoolExecutor(1) as pool:
        sent = pool.submit(client.post, "/incidents/1/review", data={"form": seal, **fields})
        while not do_what_is_asked(store) and not sent.done():
            pass
        answer = sent.result()
    assert answer.status_code == 303, answer.text
    return words(client.get(answer.headers["location"]).text)


def test_all_that_happened_stands_in_the_order_of_time(client: httpx.Client) -> None:
    html = client.get("/incidents/1").text
    text = words(html)
    order = [
        "00:15:00 First evidence",
        "00:45:00 Heater failed off, Display temperature: raised urgent, at 24.6",
        "now unacknowledged",
        "00:45:01 Try 1 to reach keeper over phone failed",
        "01:25:00 Heater failed off, Display temperature: acknowledged on <b>my</b> way, by sam",
        "02:05:00 Planned work begins: feeding pause",
    ]
    places = [text.replace("\N{NO-BREAK SPACE}", " ").index(one) for one in order]
    assert places == sorted(places)
    assert "<b>my" not in html


def test_lanes_lie_on_the_axis_of_the_charts(client: httpx.Client) -> None:
    """From 75 minutes before the first evidence on to the latest projected danger, and a little more."""
    html = client.get("/incidents/1").text
    start, end = (int(re.search(rf'data-{one}="(\d+)"', html)[1]) * 1000 for one in ("start", "end"))
    assert start == NOW - 225 * MINUTE
    assert NOW + 200 * MINUTE < end < NOW + 210 * MINUTE
    raised, seen, now = (
        100 * (at_us - start) / (end - start) for at_us in (NOW - 120 * MINUTE, NOW - 80 * MINUTE, NOW)
    )
    assert bars(html, "Heater failed off, Display temperature") == [
        ("full", pytest.approx(raised, abs=0.02), pytest.approx(seen - raised, abs=0.02)),
        ("open", pytest.approx(seen, abs=0.02), pytest.approx(now - seen, abs=0.02)),
    ]
    (alarm,) = re.findall(r'class="moment alarm" x1="([\d.]+)%"', html)
    assert float(alarm) == pytest.approx(raised, abs=0.02)
    assert [shape for shape, *_ in bars(html, "Planned work")] == ["open"]
    assert 'aria-label="Answers: acknowledge by sam at 01:25."' in html


def bars(html: str, title: str) -> list[tuple[str, float, float]]:
    lane = re.search(rf'<svg class="lane"[^>]*aria-label="{re.escape(title)}:.*?\n</svg>', html, re.DOTALL)
    assert lane is not None
    found = re.findall(r'class="bar (\w+)" x="([\d.]+)%" y="18" width="([\d.]+)%"', lane[0])
    return [(shape, float(at), float(width)) for shape, at, width in found]


def test_usual_band_and_projection_are_drawn_and_held_against_what_came(client: httpx.Client) -> None:
    html = client.get("/incidents/1").text
    assert html.count('class="usual-band"') == 1
    assert html.count('class="ahead"') == 1
    told = words(html).replace("\N{NO-BREAK SPACE}", " ")
    assert "the danger line 23.0 °C was projected for about 05:10, between 04:45 and 06:05." in told
    assert "It did not come so far: the lowest was 24.6 °C at 02:45." in told


def test_what_came_as_projected_is_told_with_how_far_off_it_was(client: httpx.Client, told: Store) -> None:
    """It falls faster, and reaches 23.0 degC 100 minutes after the alarm, 2 h 45 min early."""
    alarmed_us = NOW - 120 * MINUTE
    rows = [tank.row(2, alarmed_us + at * MINUTE + 1, 24.6 - 0.016 * at) for at in range(119)]
    record = tank.heater_incident(number=2, ended_us=NOW)
    key = AlarmKey("reef", "practical_salinity", "heater_failed_off")
    event = tank.AlarmRaised(
        alarmed_us, key, tank.Priority.URGENT, alarmed_us, ("practical_salinity",), tank.HEATER_EVIDENCE
    )
    incident = replace(record.incident, series=("practical_salinity",), alarms=(key,))
    told.commit(Commit(NOW, NOW, rows=rows, alarms=[event], incidents=[replace(record, incident=incident)]))
    text = words(client.get("/incidents/2").text).replace("\N{NO-BREAK SPACE}", " ")
    assert "It came at 02:25, 2 h 44 min earlier than that." in text


def test_before_tells_each_series_beside_what_was_usual_then(client: httpx.Client) -> None:
    text = words(client.get("/incidents/1").text).replace("\N{NO-BREAK SPACE}", " ")
    # The heater failed at 23:45, half an hour before the first evidence.
    assert re.search(r"Display temperature 25\.[56] °C 25\.6 °C 25\.2 °C to 25\.8 °C: within", text)
    assert "Planned work: water change ended 1 h 30 min before." in text
    assert re.search(r"Salinity 35\.0 35\.0 not known then", text)


def test_similar_ones_before_are_of_the_same_cause_first(client: httpx.Client, told: Store) -> None:
    record = tank.heater_incident()
    ended_us = NOW - 20 * HOUR
    earlier = replace(record.incident, first_evidence_us=ended_us - HOUR, alarmed_at_us=ended_us - HOUR)
    now = replace(record.incident, number=9)
    others = [
        replace(earlier, number=5, ended_at_us=ended_us),
        replace(earlier, number=6, cause="under_limit", ended_at_us=ended_us),
        replace(earlier, number=7, cause="probe_silent", series=("ph",), ended_at_us=ended_us),
    ]
    told.commit(Commit(NOW, NOW, incidents=[replace(record, incident=one) for one in (*others, now)]))
    text = words(client.get("/incidents/9").text)
    listed = text[text.index("Similar ones before") :]
    assert listed.index("5: heater failed off") < listed.index("6: under limit")
    assert "same series" in listed
    assert "probe silent" not in listed
    assert "None: it is the first of its kind" in client.get("/incidents/5").text


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("from=2026-03-07T00:00&to=2026-03-07T01:00", 200),
        ("from=2026-03-06T23:00:00Z&to=2026-03-07T00:00:00Z", 200),
        ("from=2026-03-07T00:00", 400),
        ("from=2026-03-07T01:00&to=2026-03-07T01:04", 400),
        ("from=2026-03-07T01:00&to=2026-03-07T00:00", 400),
        ("from=0001-01-01T00:00&to=2026-03-07T00:00", 400),
        ("from=<b>&to=x", 400),
    ],
)
def test_stretch_is_chosen_by_the_address(client: httpx.Client, query: str, status: int) -> None:
    answer = client.get(f"/incidents/1?{query}")
    assert answer.status_code == status
    assert "<b>" not in answer.text
    if status == 200:
        assert "Sat 7 Mar 2026, 00:00 to Sat 7 Mar 2026, 01:00" in answer.text


def test_links_lead_to_the_stretches_beside_and_back(client: httpx.Client) -> None:
    html = client.get("/incidents/1?from=2026-03-07T00:00&to=2026-03-07T02:00").text
    links = dict(re.findall(r'href="([^"]*)" data-move="(\w+)"', html))
    links = {key: unescape(address) for address, key in links.items()}
    stretches = {
        key: re.search(r'class="as-of">([^<]*)', client.get(f"/incidents/1{address}").text)[1]
        for key, address in links.items()
        if address.startswith("?")
    }
    assert stretches == {
        "earlier": "Fri 6 Mar 2026, 23:00 to Sat 7 Mar 2026, 01:00",
        "later": "Sat 7 Mar 2026, 01:00 to Sat 7 Mar 2026, 03:00",
        "in": "Sat 7 Mar 2026, 00:30 to Sat 7 Mar 2026, 01:30",
        "out": "Fri 6 Mar 2026, 23:00 to Sat 7 Mar 2026, 03:00",
    }
    assert links["whole"] == "/incidents/1"


def test_verdict_is_kept_shown_and_becomes_an_annotation(
    client: httpx.Client, told: Store, configuration: Configuration, tmp_path
) -> None:
    text = say(
        client,
        told,
        verdict="late",
        cause="heater_weak",
        began="2026-03-06T23:30",
        ring_by="2026-03-07T00:20",
    )
    assert "Kept: it was so, and should have rung earlier." in text
    assert "Verdict: late." in text
    assert "urgent unacknowledged late" in words(client.get("/incidents").text)
    from collector.annotations import annotations_text
    from collector.replay import reviewed

    with StoreReader(configuration.store.path) as reader:
        found = reviewed(reader)
    path = tmp_path / "truth.toml"
    path.write_text(annotations_text("Reviewed", found.annotations))
    (one,) = read_annotations(path, configuration)
    assert (one.cause, one.to_us, one.series) == ("heater_weak", None, ("temperature",))
    # Wall times of Madrid in winter.
    assert one.from_us == tank.at("2026-03-06T22:30:00")
    assert one.ring_by_us == tank.at("2026-03-06T23:20:00")
    text = say(client, told, verdict="false")
    assert "Verdict: false." in text
    text = say(client, told, verdict="none")
    assert "The verdict is taken back." in text
    assert "Verdict: false." not in text


def test_note_is_kept_as_it_was_written_and_shown_as_text(client: httpx.Client, told: Store) -> None:
    note = f"{EVIL}\r\nsecond line\x07"
    text = say(client, told, note=note)
    assert f"{EVIL} second line by the page" in text
    html = client.get("/incidents/1").text
    assert "<script>alert" not in html
    assert 'aria-label="Notes: note by the page at 02:45."' in html


def test_struck_note_stays_to_be_read_as_struck(client: httpx.Client, told: Store) -> None:
    say(client, told, note="It was the fuse.")
    say(client, told, note="It was the relay.")
    *before, number, last = re.findall(r'name="strike" value="(\d+)"', client.get("/incidents/1").text)
    assert "The note is struck." in say(client, told, strike=number)
    html = client.get("/incidents/1").text
    assert "<s>It was the fuse.</s>" in html
    assert "Note, struck Sat 7 Mar 2026, 02:45 by the page" in words(html)
    assert re.findall(r'name="strike" value="(\d+)"', html) == [*before, last]
    (lane,) = re.findall(r'aria-label="Notes: ([^"]*)"', html)
    assert lane.count("note by the page at 02:45") == len(before) + 1
    # A page that was opened before may still offer it.
    assert "That was not kept: the note was struck before." in say(client, told, strike=number)
    assert "there is no such note on incident 1." in say(client, told, strike="77")
    for file, line in (
        ("story.md", "Note, struck"),
        ("events.csv", 'by the page",It was the fuse.,the page'),
        ("story.html", "<s>It was the fuse.</s>"),
    ):
        assert line in client.get(f"/incidents/1/{file}").text
    assert "Strike" not in client.get("/incidents/1/story.html").text


@pytest.mark.parametrize(
    ("fields", "status", "told_words"),
    [
        ({"verdict": "splendid"}, 400, "is none of real, late, false, planned"),
        ({}, 400, "is none of real, late, false, planned"),
        ({"verdict": "real", "began": "soon"}, 400, "began=soon is no time"),
        ({"verdict": "real", "form": "AAAA"}, 403, "too old, or of another page"),
        ({"note": "x" * 30_000}, 413, "short"),
        ({"strike": "-1"}, 400, "is no note"),
        ({"strike": "1", "form": "AAAA"}, 403, "too old, or of another page"),
    ],
)
def test_form_that_is_not_ours_is_refused(
    client: httpx.Client, told: Store, fields: dict[str, str], status: int, told_words: str
) -> None:
    (seal,) = set(re.findall(r'name="form" value="([^"]+)"', client.get("/incidents/1").text))
    answer = client.post("/incidents/1/review", data={"form": seal, **fields})
    assert answer.status_code == status
    assert told_words in unescape(answer.text)
    assert do_what_is_asked(told) == []


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        (GiveVerdict(77, "real"), "there is no incident 77"),
        (GiveVerdict(2**70, "real"), f"there is no incident {2**70}"),
        (GiveVerdict(1, "splendid"), "one of real, late, false, planned"),
        (GiveVerdict(1, "real", "bad_luck"), "there is no cause 'bad_luck'"),
        (GiveVerdict(1, "real", began_us=NOW), "it cannot have begun after the alarm"),
        (GiveVerdict(1, "late", began_us=10, ring_by_us=9), "before it began"),
        (AddNote(1, " \n"), "an empty note says nothing"),
        (AddNote(1, "x" * 2001), "2001 characters"),
    ],
)
def test_what_cannot_be_kept_is_refused_with_the_reason(told: Store, asked, why: str) -> None:
    with StoreReader(told.path) as reader, pytest.raises(ValueError, match=re.escape(why)):
        done_text(asked, reader)


def test_readings_go_out_as_replay_reads_them(
    client: httpx.Client, configuration: Configuration, tmp_path
) -> None:
    answer = client.get("/incidents/1/readings.csv")
    assert answer.headers["content-disposition"] == 'attachment; filename="brinebell-incident-1-readings.csv"'
    path = tmp_path / "week.csv"
    path.write_bytes(answer.content)
    recording = read_files([path], configuration, converter, state_value)
    assert recording.skipped == ()
    with StoreReader(configuration.store.path) as reader:
        kept = reader.readings(reader.series_id("reef", "temperature"), NOW - 225 * MINUTE, NOW + 1)
    mine = recording.series == 0
    assert recording.times_us[mine].tolist() == kept.times_us.tolist()
    assert recording.values[mine].tolist() == kept.values.tolist()


def test_exports_hold_all_that_happened_and_fetch_nothing(client: httpx.Client, told: Store) -> None:
    say(client, told, note=EVIL)
    rows = list(csv.DictReader(io.StringIO(client.get("/incidents/1/events.csv").text)))
    assert [one["kind"] for one in rows][:2] == ["evidence", "alarm"]
    assert [one["detail"] for one in rows if one["kind"] == "note"][-1] == EVIL
    say(client, told, note="=HYPERLINK(1)")
    rows = list(csv.DictReader(io.StringIO(client.get("/incidents/1/events.csv").text)))
    assert [one["detail"] for one in rows if one["kind"] == "note"][-1] == "'=HYPERLINK(1)"
    text = client.get("/incidents/1/story.md").text
    assert text.startswith("# Incident 1: Heater failed")
    assert r"\<script\>alert(1)\</script\>" in text
    assert r"\| \*it\*" in text
    html = client.get("/incidents/1/story.html").text
    assert not re.search(r"<script|<link|<img|<form|url\(|@import|https?://", html)
    assert html.count('<svg class="chart') == 1
    assert "&lt;script&gt;alert" in html
    picture = Image.open(io.BytesIO(client.get("/incidents/1/picture.png").content))
    assert picture.size == (1000, 600)
    for path in ("/incidents/1/story.exe", "/incidents/77/story.md", "/incidents/1/..%2Fstory.md"):
        assert client.get(path).status_code == 404
