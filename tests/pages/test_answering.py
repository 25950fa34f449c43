"""The pages behind the link in a message, and the form for work: to look changes nothing, to confirm does."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from collector.alarm_requests import Acknowledge, AnswerTestRing, Shelve
from collector.configuration import Configuration, PageConfiguration
from collector.links import LASTING_US, Link, Links
from collector.pages import Answers, serve_in_thread
from collector.requests import Answer, BeginWork, EndWork, Request
from collector.store import Commit, RequestBox, Store, StoreReader
from rules import HOUR_US, PlannedWork
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import MINUTE, NOW

LINKS = Links(bytes(32), "https://tank.example.org")
SAM = Link("sam", 1)


class Household:
    """Pages of a store, with a client, and requests that a stand-in for the loop answers when told to."""

    def __init__(self, store: Store, configuration: Configuration, client: httpx.Client) -> None:
        self.store, self.client = store, client
        self.path = configuration.store.path

    @property
    def waiting(self) -> list[Request]:
        with StoreReader(self.path) as reader:
            return list(reader.waiting_requests())

    def answer_all(self, is_done: bool = True) -> None:
        answers = [Answer(one.id, is_done, f"done for {one.who}") for one in self.waiting]
        self.store.commit(Commit(NOW, NOW, answers=answers))

    def post(self, path: str, **form: str) -> httpx.Response:
        """Send a form while the loop of the service answers."""
        loop = threading.Thread(target=self._answer_soon)
        loop.start()
        response = self.client.post(path, data=form)
        loop.join()
        return response

    def _answer_soon(self) -> None:
        end = time.monotonic() + 2.0
        while not self.waiting and time.monotonic() < end:
            time.sleep(0.02)
        self.asked = self.waiting
        self.answer_all()

    def confirm(self, link: Link, deed: str, **form: str) -> httpx.Response:
        """Open the page that asks, and send its form."""
        path = f"/answer/{LINKS.text(link, NOW)}/{deed}"
        page = self.client.get(path)
        assert page.status_code == 200
        return self.post(path, form=hidden(page.text, "form"), **form)


def hidden(page: str, name: str) -> str:
    """The value of a hidden field."""
    found = re.search(rf'name="{name}" value="([^"]+)"', page)
    assert found is not None
    return found[1]


@pytest.fixture
def household(store: Store, configuration: Configuration) -> Iterator[Household]:
    tank.fill(store, configuration, value=tank.cooling, hours=4)
    tank.raise_heater_incident(store, configuration.store.path)
    path = configuration.store.path
    answers = Answers(LINKS, lambda: RequestBox(path))
    with (
        serve_in_thread(
            configuration, lambda: StoreReader(path), standing_clock(), answers=answers
        ) as server,
        httpx.Client(base_url=server.address, trust_env=False) as client,
    ):
        yield Household(store, configuration, client)


def test_the_page_says_what_is_wrong_and_what_can_be_answered(household: Household) -> None:
    page = household.client.get(f"/answer/{LINKS.text(SAM, NOW)}")
    assert page.status_code == 200
    text = page.text.replace("\u00a0", " ")
    assert "<h1" in text
    assert "Heater failed" in text
    assert "Answer as sam" in text
    assert re.findall(r'class="button" href="/answer/[^"/]+/([a-z-]+)"', text) == [
        "acknowledge",
        "shelve",
        "shelve-until-morning",
        "work",
    ]
    policy = page.headers["content-security-policy"]
    assert "form-action 'self'" in policy
    assert "unsafe" not in policy
    assert page.headers["x-robots-tag"] == "noindex"
    assert page.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_what_only_looks_changes_nothing(household: Household, method: str) -> None:
    """As previews of links do: every page is fetched, with every answer that there is."""
    text = LINKS.text(SAM, NOW)
    for end in ("", "/acknowledge", "/shelve", "/shelve-until-morning", "/work"):
        assert household.client.request(method, f"/answer/{text}{end}?do=begin&form=x").status_code == 200
    assert household.waiting == []


@pytest.mark.parametrize(
    ("link", "deed", "form", "asked"),
    [
        (SAM, "acknowledge", {}, Acknowledge("", 1)),
        (SAM, "shelve", {}, Shelve("", 1, until_us=NOW + HOUR_US)),
        (SAM, "shelve-until-morning", {}, Shelve("", 1)),
        (
            SAM,
            "work",
            {"kind": "water_change", "for": "45 min"},
            BeginWork("reef", "water_change", NOW, NOW + 45 * MINUTE),
        ),
        (Link("kim", None), "heard", {}, AnswerTestRing(person="kim")),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_confirmed_answer_is_asked_of_the_service_by_name(
    household: Household, link: Link, deed: str, form: dict[str, str], asked: object
) -> None:
    answer = household.confirm(link, deed, **form)
    (request,) = household.asked
    assert (request.who, request.asked, request.asked_us) == (link.person, asked, NOW)
    assert answer.status_code == 303
    shown = household.client.get(answer.headers["location"]).text
    assert f"Done for {link.person}." in shown


def test_the_same_form_sent_twice_is_done_once(household: Household) -> None:
    path = f"/answer/{LINKS.text(SAM, NOW)}/acknowledge"
    form = hidden(household.client.get(path).text, "form")
    first = household.post(path, form=form)
    second = household.client.post(path, data={"form": form})
    assert first.headers["location"] == second.headers["location"]
    assert household.waiting == []
    # Another look at the page is another form.
    assert hidden(household.client.get(path).text, "form") != form


def test_without_an_answer_it_is_written_down_and_said_so(household: Household) -> None:
    path = f"/answer/{LINKS.text(SAM, NOW)}/acknowledge"
    answer = household.client.post(path, data={"form": "x"})
    assert answer.status_code == 303
    page = household.client.get(answer.headers["location"]).text
    assert "Written down. The service has not answered yet" in page
    assert 'http-equiv="refresh"' in page
    household.answer_all(is_done=False)
    page = household.client.get(answer.headers["location"]).text
    assert "Not done:</strong> done for sam." in page
    assert 'http-equiv="refresh"' not in page


@pytest.mark.parametrize(
    ("text", "status", "words"),
    [
        (LINKS.text(SAM, NOW - LASTING_US - MINUTE), 410, "This link has expired."),
        (LINKS.text(SAM, NOW)[:-1] + "!", 404, "There is no such link."),
        (Links(bytes(range(32)), "").text(SAM, NOW), 404, "There is no such link."),
        (LINKS.form_text(NOW), 404, "There is no such link."),
        ("x" * 600, 404, "There is no such link."),
        (LINKS.text(Link("sam", 77), NOW), 404, "There is no incident 77"),
    ],
    ids=["expired", "damaged", "of another service", "a form", "long", "no incident"],
)
def test_a_link_that_is_of_no_use_says_why_and_does_nothing(
    household: Household, text: str, status: int, words: str
) -> None:
    for end in ("", "/acknowledge"):
        page = household.client.get(f"/answer/{text}{end}")
        assert page.status_code == status
        assert words in page.text
    assert household.client.post(f"/answer/{text}/acknowledge", data={"form": "x"}).status_code == status
    assert household.waiting == []


@pytest.mark.parametrize(
    ("headers", "content", "status"),
    [
        ({"origin": "https://evil.example"}, b"form=x", 403),
        ({"origin": "null"}, b"form=x", 403),
        ({"content-type": "application/json"}, b"{}", 400),
        ({"content-type": "multipart/form-data; boundary=x"}, b"--x--", 400),
        ({}, b"form=x&" * 3000, 413),
        ({}, b"form=\xff", 400),
        ({}, b"form", 400),
        ({"host": "evil.example"}, b"form=x", 421),
    ],
)
def test_a_form_that_is_not_ours_is_refused(
    household: Household, headers: dict[str, str], content: bytes, status: int
) -> None:
    usual = {"content-type": "application/x-www-form-urlencoded"}
    path = f"/answer/{LINKS.text(SAM, NOW)}/acknowledge"
    assert household.client.post(path, content=content, headers=usual | headers).status_code == status
    assert household.waiting == []


def test_a_form_without_a_length_is_refused(household: Household) -> None:
    def pieces() -> Iterator[bytes]:
        yield b"form=x"

    usual = {"content-type": "application/x-www-form-urlencoded"}
    path = f"/answer/{LINKS.text(SAM, NOW)}/acknowledge"
    assert household.client.post(path, content=pieces(), headers=usual).status_code == 413


@pytest.mark.parametrize(
    "form",
    [
        {},
        {"kind": "holiday", "for": "45 min"},
        {"kind": "water_change", "for": "9 h"},
        {"kind": "water_change"},
    ],
)
def test_work_that_is_not_offered_is_refused(household: Household, form: dict[str, str]) -> None:
    answer = household.client.post(f"/answer/{LINKS.text(SAM, NOW)}/work", data={"form": "x"} | form)
    assert answer.status_code == 400
    assert "Go back and choose one." in answer.text
    assert household.waiting == []


def test_what_is_over_offers_no_shelving(store: Store, household: Household) -> None:
    ended = tank.heater_incident(2, ended_us=NOW - MINUTE)
    store.commit(Commit(NOW, NOW, incidents=[ended]))
    text = LINKS.text(Link("sam", 2), NOW)
    page = household.client.get(f"/answer/{text}").text
    assert re.findall(r'class="button" href="/answer/[^"/]+/([a-z-]+)"', page) == ["acknowledge", "work"]
    assert household.client.get(f"/answer/{text}/shelve").status_code == 409
    assert household.client.get(f"/answer/{text}/other").status_code == 404


# -- the page that shows now -------------------------------------------------------------------------


def test_work_begins_and_ends_on_the_page_that_shows_now(household: Household) -> None:
    page = household.client.get("/").text
    assert "The work is over" not in page
    form = {"form": hidden(page, "form"), "tank": "reef", "kind": "feeding_pause", "for": "15 min"}
    answer = household.post("/work", do="begin", **form)
    (request,) = household.asked
    assert request.who == "the page"
    assert request.asked == BeginWork("reef", "feeding_pause", NOW, NOW + 15 * MINUTE)
    assert "Done:</strong> done for the page." in household.client.get(answer.headers["location"]).text
    work = PlannedWork("reef", "feeding_pause", NOW - MINUTE, NOW + 15 * MINUTE)
    household.store.commit(Commit(NOW, NOW, planned_work=[work]))
    page = household.client.get("/").text
    assert "The work is over" in page
    household.post("/work", do="end", tank="reef", form=hidden(page, "form"))
    assert household.asked[0].asked == EndWork("reef")


@pytest.mark.parametrize(
    "seal",
    ["", "x", LINKS.text(SAM, NOW), LINKS.form_text(NOW - 13 * HOUR_US)],
    ids=["none", "any", "a link", "old"],
)
def test_a_form_that_no_page_carried_begins_no_work(household: Household, seal: str) -> None:
    form = {"form": seal, "tank": "reef", "kind": "feeding_pause", "for": "15 min", "do": "begin"}
    answer = household.client.post("/work", data=form)
    assert answer.status_code == 403
    assert "Reload the page" in answer.text
    assert household.waiting == []


def test_where_a_phone_reaches_the_page_work_is_announced_by_links_alone(
    store: Store, tmp_path: Path
) -> None:
    """Without a log-in whoever can open the page could keep alarms quiet."""
    page = PageConfiguration(port=0, public_url="https://tank.example.org")
    configuration = tank.configuration(tmp_path / "store", page=page)
    path = configuration.store.path
    opened: Callable[[], StoreReader] = lambda: StoreReader(path)  # noqa: E731
    answers = Answers(LINKS, lambda: RequestBox(path))
    with serve_in_thread(configuration, opened, standing_clock(), answers=answers) as server:
        shown = httpx.get(server.address, trust_env=False)
        assert "<form" not in shown.text
        refused = httpx.post(f"{server.address}/work", data={"form": LINKS.form_text(NOW)}, trust_env=False)
        assert refused.status_code == 403
