"""Care and plan: the calendar, calibrations, quality of a month and last messages, over a real store."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import httpx
import pytest

from collector.care_requests import RecordCalibration
from collector.intake import LastMessages
from collector.mqtt import Message
from collector.pages import Answers, serve_in_thread
from collector.recurrence import RecurringWork
from collector.requests import BeginWork, CancelWork, EndWork
from collector.store import Commit, RequestBox, StoreReader
from rules import Flag, PlannedWork
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import HOUR, MINUTE, NOW, SECOND
from tests.pages.test_answering import LINKS, hidden
from tests.pages.test_door import House, Visit

DAY = 24 * HOUR
FEEDING = RecurringWork(
    "reef", "feeding_pause", "Europe/Madrid", datetime(2026, 3, 1, 18), 15 * MINUTE, "FREQ=WEEKLY;BYDAY=SU"
)


class Care:
    """The page of a house with a plan, and its text."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.house = House(folder, stack)
        self.messages = LastMessages()
        configuration = replace(tank.configuration(folder), works=(FEEDING,))
        path = self.house.path
        server = stack.enter_context(
            serve_in_thread(
                configuration,
                lambda: StoreReader(path),
                standing_clock(),
                answers=Answers(LINKS, lambda: RequestBox(path)),
                messages=self.messages.all,
            )
        )
        self.visit = Visit(server.address)
        stack.enter_context(self.visit.client)

    @property
    def html(self) -> str:
        answer = self.visit.get("/care")
        assert answer.status_code == 200
        return answer.text.replace("\u00a0", " ")

    @property
    def text(self) -> str:
        return " ".join(re.sub(r"<[^>]+>", " ", self.html).split())

    def send(self, **form: str) -> httpx.Response:
        return self.visit.post("/care", form=hidden(self.html, "form"), tank="reef", **form)


@pytest.fixture
def care(tmp_path: Path) -> Iterator[Care]:
    with ExitStack() as stack:
        yield Care(tmp_path, stack)


def test_works_stand_by_day_on_the_wall_of_the_tank_whether_planned_or_by_a_rule(care: Care) -> None:
    on = PlannedWork("reef", "water_change", NOW - HOUR, NOW + HOUR)
    ahead = PlannedWork("reef", "probe_cleaning", NOW + 9 * HOUR, NOW + 10 * HOUR)
    over = PlannedWork("reef", "calibration", NOW - 3 * HOUR, NOW - HOUR)
    care.house.commit(Commit(NOW, NOW, planned_work=[over, on, ahead]))
    text = care.text
    assert "Today, Sat 7 Mar" in text
    assert "01:45 to 03:45 Water change, goes on" in text
    assert "11:45 to 12:45 Probe cleaning" in text
    assert (
        "Calibration"
        not in text.partition("Calibrations")[0].replace("Note a calibration", "").partition("Plan work")[0]
    )
    # Sundays of four weeks; the clock is put forward on the 29th, and feeding stays at 18:00.
    assert re.findall(r"(Sun \d+ Mar) 18:00 to 18:15 Feeding pause by a rule", text) == [
        "Sun 8 Mar",
        "Sun 15 Mar",
        "Sun 22 Mar",
        "Sun 29 Mar",
    ]


def test_work_is_planned_ended_and_cancelled_one_by_one(care: Care) -> None:
    on = PlannedWork("reef", "water_change", NOW - HOUR, NOW + HOUR)
    ahead = [PlannedWork("reef", "probe_cleaning", NOW + day * DAY, NOW + day * DAY + HOUR) for day in (1, 2)]
    care.house.commit(Commit(NOW, NOW, planned_work=[on, *ahead]))
    page = care.html
    assert re.findall(r'name="from" value="(\d+)"', page) == [str(one.from_us) for one in ahead]
    plan = {"do": "plan", "kind": "feeding_pause", "for": "45 min", "starts": "2026-03-30T18:00"}
    with care.house.answering() as asked:
        assert care.send(do="end", kind="water_change").headers["location"].startswith("/care?asked=")
        care.send(do="cancel", kind="probe_cleaning", **{"from": str(ahead[1].from_us)})
        done = care.send(**plan)
    summer = tank.at("2026-03-30T16:00:00")
    assert [one.asked for one in asked] == [
        EndWork("reef", "water_change"),
        CancelWork("reef", "probe_cleaning", ahead[1].from_us),
        BeginWork("reef", "feeding_pause", summer, summer + 45 * MINUTE),
    ]
    assert "Done:" in care.visit.get(done.headers["location"]).text


def test_a_calibration_is_noted_and_told_when_it_is_due(care: Care) -> None:
    form = {"do": "calibrated", "series": "ph", "due": "in a month", "note": "7 and 10,  slope <58> mV"}
    with care.house.answering() as asked:
        care.send(on="2026-02-01", **form)
    (request,) = asked
    done = tank.at("2026-02-01T11:00:00")
    assert request.asked == RecordCalibration("reef", "ph", done, done + 30 * DAY, "7 and 10, slope <58> mV")
    assert (
        "Display pH 1 Feb 2026 ▲ overdue by 4 days, since 3 Mar 2026 7 and 10, slope &lt;58&gt; mV"
        in care.text
    )
    now = care.visit.get("/").text.replace("\u00a0", " ")
    assert '<p class="boards">Calibration overdue: Display pH by 4 days. <a href="/care">Care</a></p>' in now
    shape = re.findall(r'data-shape="(\w+)"', now)
    with StoreReader(care.house.path) as reader:
        (kept,) = reader.calibrations()
    assert (kept.series, kept.done_us, kept.due_us, kept.who) == ("ph", done, done + 30 * DAY, "the page")
    with care.house.answering():
        care.send(on="2026-03-07", **{**form, "due": "not planned", "note": ""})
    assert "Display pH 7 Mar 2026 not planned" in care.text
    now = care.visit.get("/").text
    assert "overdue" not in now
    # Where it is open it is not left standing.
    assert re.findall(r'data-shape="(\w+)"', now) != shape
    assert "Salinity none noted Top-off" in care.text


PLAN = {"do": "plan", "kind": "water_change", "for": "2 h", "starts": "2026-03-09T10:00"}


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"do": "calibrated", "series": "nothing", "due": "in a month", "on": "2026-03-01"}, "no series"),
        ({"do": "calibrated", "series": "ph", "due": "soon", "on": "2026-03-01"}, "is none of"),
        ({"do": "calibrated", "series": "ph", "due": "in a month", "on": "2026-03-09"}, "has been done"),
        ({"do": "calibrated", "series": "ph", "due": "in a month", "on": "0001-01-01"}, "more than a year"),
        ({"do": "calibrated", "series": "ph", "due": "in a month", "on": "9" * 40}, "no date and time"),
        (PLAN | {"starts": "2026-03-06T10:00"}, "That is over."),
        (
            {"do": "plan", "kind": "water_change", "for": "2 h", "starts": "2026-03-09T10:00Z"},
            "no date and time",
        ),
        (
            {"do": "plan", "kind": "water_change", "for": "2 h", "starts": "2028-03-09T10:00"},
            "more than a year",
        ),
        (PLAN | {"kind": "holiday"}, "is none of"),
        ({"do": "buy"}, "asks for nothing"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_a_word_why(
    care: Care, form: dict[str, str], words: str
) -> None:
    answer = care.send(**form)
    assert answer.status_code == 400
    assert words in answer.text
    with StoreReader(care.house.path) as reader:
        assert reader.waiting_requests() == ()


def test_quality_of_the_month_is_counted_by_flag_and_never_rounded_to_all_or_nothing(care: Care) -> None:
    rows = [tank.row(1, NOW - 20 * DAY + n * SECOND, 8.0) for n in range(19_965)]
    rows += [tank.row(1, NOW - 3 * DAY + n * SECOND, 8.0, flag=Flag.SUSPECT) for n in range(4)]
    # Not of this month.
    rows += [tank.row(1, NOW - 40 * DAY + n * SECOND, 8.0, flag=Flag.FAIL) for n in range(50)]
    rows.append(tank.row(3, NOW - 2 * HOUR, 12.0, flag=Flag.FAIL))
    # Without tests nothing can pass: such readings have no row in the table of tests.
    rows += [tank.row(6, NOW - 3 * DAY + n * SECOND, 8.0, flag=Flag.NOT_EVALUATED) for n in range(69)]
    care.house.commit(Commit(NOW, NOW, rows=rows))
    text = care.text
    # Half an hour of the house, one a minute, beside these.
    assert "Display pH 02:45 pass 99.98 %, suspect 0.02 % 20000 readings" in text
    assert "Top-off reservoir 02:45 pass 96.9 %, fail 3.1 % 32 readings" in text
    assert "Sump level 02:45 pass 31.0 %, not evaluated 69.0 % 100 readings" in text


def test_last_messages_are_shown_as_they_came_and_can_do_no_harm(care: Care) -> None:
    assert "None since the service began." in care.text
    for topic, payload in (
        ("boards/sump/ph", b"8.21"),
        ("boards/<script>alert(1)</script>", b"<img src=x onerror=alert(2)>"),
        ("boards/binary", b"\xff\xfe\x00\x01"),
        ("boards/turn\u202eed", "\u202e evil\r\n".encode()),
        ("boards/long", b"x" * 100_000),
        ("boards/empty", b""),
    ):
        care.messages.hear(Message(topic, payload, 0, False, False, NOW - MINUTE))
    html = care.html
    assert "<script>alert" not in html
    assert "<img" not in html
    assert "\u202e" not in html
    text = care.text
    assert "6 topics" in text
    assert "boards/sump/ph 1 min ago, 4 bytes 8.21" in text
    assert "boards/binary 1 min ago, 4 bytes ff fe 00 01" in text
    assert "100000 bytes" in text
    assert len(html) < 30_000


def test_messages_of_any_number_of_topics_are_kept_only_of_those_that_spoke_last() -> None:
    messages = LastMessages()
    for number in range(300):
        messages.hear(Message(f"boards/{number}", b"1", 0, False, False, NOW))
    messages.hear(Message("boards/100", b"2", 0, False, False, NOW))
    kept = messages.all()
    assert len(kept) == 200
    assert {"boards/100", "boards/299"} <= {one.topic for one in kept}
    assert "boards/99" not in {one.topic for one in kept}
