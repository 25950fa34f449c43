"""Logging in and out, and who gets in: real pages on a real port, with a password or behind a proxy."""

from __future__ import annotations

import ipaddress
import re
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.configuration import Configuration, PageConfiguration
from collector.errors import ConfigError
from collector.links import Link
from collector.pages import Answers, serve_in_thread
from collector.pages.attempts import ALL_AGAIN_S, FROM_ALL, FROM_ONE, ONE_AGAIN_S, Attempts
from collector.pages.door import own_path
from collector.pages.health import HealthSource
from collector.pages.sessions import LASTING_S, SESSIONS, Sessions
from collector.requests import Answer, Request
from collector.store import Commit, RequestBox, Store, StoreReader
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import NOW
from tests.pages.test_answering import LINKS, hidden
from tests.test_passwords import CHEAP

PASSWORD = "four plain words here"
PUBLIC = "https://tank.example"
HOME = ipaddress.ip_network("127.0.0.1")


class Visit:
    """A browser of sorts: keeps cookies, and says as browsers do from where it sends a form."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.client = httpx.Client(base_url=address, trust_env=False, verify=False)

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self.client.get(path, headers=headers)

    def post(self, path: str, *, origin: str | None = "", **form: str) -> httpx.Response:
        headers = {} if origin is None else {"origin": origin or self.address}
        return self.client.post(path, data=form, headers=headers)

    def log_in(self, password: str = PASSWORD, to: str = "") -> httpx.Response:
        return self.post("/log-in", password=password, to=to)

    def is_let_in_with(self, token: str) -> bool:
        """Whether somebody who has nothing but that cookie sees the page."""
        answer = httpx.get(self.address, headers={"cookie": f"brinebell={token}"}, trust_env=False)
        return answer.status_code == 200


class House:
    """A store with an incident, and pages of it as a page configuration says."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self._folder, self._stack = folder, stack
        configuration = tank.configuration(folder)
        self.path = configuration.store.path
        self.store = stack.enter_context(Store(self.path))
        self.store.register(configuration.series)
        tank.fill(self.store, configuration, hours=0.5)
        tank.raise_heater_incident(self.store, self.path)
        self.store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident(2)]))

    def serve(self, health: HealthSource | None = None, **page: Any) -> Visit:
        configuration = tank.configuration(self._folder, page=PageConfiguration(port=0, **page))
        server = self._stack.enter_context(
            serve_in_thread(
                configuration,
                lambda: StoreReader(self.path),
                standing_clock(),
                answers=Answers(LINKS, lambda: RequestBox(self.path)),
                health=health,
                live_every_s=0.05,
            )
        )
        visit = Visit(server.address)
        self._stack.enter_context(visit.client)
        return visit

    def commit(self, commit: Commit) -> None:
        self.store.commit(commit)

    @contextmanager
    def answering(self) -> Iterator[list[Request]]:
        """Answer as the loop of the service does, and tell what was asked."""
        asked: list[Request] = []
        is_over = threading.Event()

        def answer() -> None:
            while not is_over.wait(0.02):
                with StoreReader(self.path) as reader:
                    waiting = reader.waiting_requests()
                if waiting:
                    asked.extend(waiting)
                    answers = [Answer(one.id, True, "done") for one in waiting]
                    self.store.commit(Commit(NOW, NOW, answers=answers))

        loop = threading.Thread(target=answer)
        loop.start()
        try:
            yield asked
        finally:
            is_over.set()
            loop.join()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with ExitStack() as stack:
        yield House(tmp_path, stack)


CLOSED = ("/", "/incidents", "/incidents/1", "/series/reef/temperature", "/nowhere", "/log-out", "/static")


def test_nothing_is_shown_before_the_log_in_and_everything_after_it(house: House) -> None:
    visit = house.serve(password_hash=CHEAP)
    for path in CLOSED:
        answer = visit.get(path)
        assert answer.status_code == 303, path
        assert answer.headers["location"].startswith("/log-in"), path
        assert "Display temperature" not in answer.text
    for path in ("/now.json", "/live"):
        assert visit.get(path).status_code == 401
    assert visit.get("/static/brinebell.css").status_code == 200
    assert visit.get("/incidents/1?a=b").headers["location"] == "/log-in?to=%2Fincidents%2F1%3Fa%3Db"
    page = visit.get("/log-in?to=%2Fincidents%2F1")
    assert page.status_code == 200
    answer = visit.log_in(to=hidden(page.text, "to"))
    assert (answer.status_code, answer.headers["location"]) == (303, "/incidents/1")
    assert visit.get("/incidents/1").status_code == 200
    assert visit.get("/now.json").status_code == 200
    assert "Log out" in visit.get("/").text


def test_a_health_check_does_not_log_in_and_learns_no_more_than_whether_it_works(house: House) -> None:
    found = {"verdict": "wrong", "storing": True, "findings": [{"text": "reef/sump is gone"}], "text": "one"}
    visit = house.serve(lambda: found, password_hash=CHEAP)
    answer = visit.get("/health.json")
    assert (answer.status_code, answer.json()) == (200, {"verdict": "wrong", "storing": True})
    visit.log_in()
    assert visit.get("/health.json").json() == found
    found["storing"] = False
    assert visit.get("/health.json").status_code == 503
    # Where nobody logs in, whoever gets there reads it whole.
    assert house.serve(lambda: found).get("/health.json").json() == found


def test_wrong_passwords_are_refused_and_after_five_nobody_is_heard_for_a_while(house: House) -> None:
    visit = house.serve(password_hash=CHEAP)
    for wrong in ("", "four plain words", PASSWORD + " ", CHEAP, "x" * 3000)[:FROM_ONE]:
        answer = visit.log_in(wrong)
        assert answer.status_code == 403
        assert "That is not the password." in answer.text
        assert "set-cookie" not in answer.headers
    refused = visit.log_in()
    assert refused.status_code == 429
    assert 0 < int(refused.headers["retry-after"]) <= ONE_AGAIN_S
    assert "Too many tries." in refused.text
    # Whom it rings for gets in all the same.
    assert visit.get(f"/answer/{LINKS.text(Link('sam', 1), NOW)}").status_code == 200


def test_cookie_is_for_this_host_and_not_for_scripts(house: House) -> None:
    visit = house.serve(password_hash=CHEAP, public_url=PUBLIC)
    cookie = visit.log_in().headers["set-cookie"]
    token, *attributes = cookie.split("; ")
    assert re.fullmatch(r"brinebell=[\w-]{43}", token)
    assert {one.lower() for one in attributes} == {
        f"max-age={LASTING_S}",
        "path=/",
        "httponly",
        "samesite=lax",
    }
    over_tls = httpx.post(
        f"{visit.address}/log-in",
        data={"password": PASSWORD},
        headers={"host": "tank.example", "origin": PUBLIC},
        trust_env=False,
    )
    assert over_tls.headers["set-cookie"].startswith("__Host-brinebell=")
    assert "; Secure" in over_tls.headers["set-cookie"]


def test_log_out_ends_the_session_and_not_only_the_cookie(house: House) -> None:
    visit = house.serve(password_hash=CHEAP)
    visit.log_in()
    stolen = visit.client.cookies["brinebell"]
    with visit.client.stream("GET", "/live") as live:
        lines = live.iter_lines()
        assert next(lines) == "retry: 3000"
        answer = visit.post("/log-out")
        assert (answer.status_code, answer.headers["location"]) == (303, "/log-in")
        # A page that was open hears nothing more: with the next news, or beat, its stream ends.
        tank.commit(house.store, tank.row(0, NOW + 1, 19.0))
        assert "19.0" not in "".join(lines)
    assert visit.get("/").status_code == 303
    assert not visit.is_let_in_with(stolen)


def test_a_token_that_was_there_before_the_log_in_is_good_for_nothing_after_it(house: House) -> None:
    """Session fixation: whoever plants a cookie must not be logged in with it, nor by an older session."""
    visit = house.serve(password_hash=CHEAP)
    visit.client.cookies.set("brinebell", "A" * 43, domain="127.0.0.1")
    visit.log_in()
    first = visit.client.cookies["brinebell"]
    assert first != "A" * 43
    assert visit.is_let_in_with(first)
    assert not any(visit.is_let_in_with(old) for old in ("A" * 43, "", "x" * 5000))
    visit.log_in()
    assert visit.client.cookies["brinebell"] != first
    assert not visit.is_let_in_with(first)


def test_a_link_in_a_message_leads_to_its_own_incident_and_to_nothing_else(house: House) -> None:
    visit = house.serve(password_hash=CHEAP)
    own = f"/answer/{LINKS.text(Link('sam', 1), NOW)}"
    assert "Heater failed" in visit.get(own).text
    assert visit.get(f"{own}/acknowledge").status_code == 200
    for path in ("/incidents/1", "/incidents/2", f"{own}/../../incidents/1", "/answer/../incidents/2"):
        assert "Heater failed" not in visit.get(path).text
    assert visit.get(own).headers.get("set-cookie") is None
    # Nor does it log in for anything that only a page can ask.
    assert visit.post("/work", form=LINKS.form_text(NOW), tank="reef", do="end").status_code == 303


def test_forms_that_another_page_sends_are_refused(house: House) -> None:
    visit = house.serve(password_hash=CHEAP)
    visit.log_in()
    form = {"password": PASSWORD, "form": hidden(visit.get("/").text, "form"), "tank": "reef", "do": "end"}
    strangers = ("https://evil.example", "null", None, "http://127.0.0.1:1", "http://127.0.0.1.evil.example")
    for path in ("/log-in", "/log-out", "/work"):
        for origin in strangers:
            answer = visit.post(path, origin=origin, **form)
            assert answer.status_code == 403, (path, origin)
            assert "another page" in answer.text
    assert visit.get("/").status_code == 200, "still logged in"


def test_the_seal_of_a_form_is_of_use_in_its_own_session_alone(house: House) -> None:
    visit, other = house.serve(password_hash=CHEAP), house.serve(password_hash=CHEAP)
    for one in (visit, other):
        assert one.log_in().status_code == 303
    form = {"tank": "reef", "kind": "feeding_pause", "do": "begin", "for": "15 min"}
    for strange in (hidden(other.get("/").text, "form"), LINKS.form_text(NOW), ""):
        answer = visit.post("/work", form=strange, **form)
        assert answer.status_code == 403
        assert "Reload the page" in answer.text
    with house.answering() as asked:
        answer = visit.post("/work", form=hidden(visit.get("/").text, "form"), **form)
    assert answer.headers["location"].startswith("/?asked=")
    assert [one.who for one in asked] == ["the page"]


def test_whoever_is_logged_in_can_answer_from_the_page_and_nobody_else_is_offered_it(house: House) -> None:
    visit = house.serve(password_hash=CHEAP)
    visit.log_in()
    address = re.search(r'class="button" href="(/answer/[^"]+)"', visit.get("/").text)[1]
    assert "Answer as" not in visit.get(address).text
    with house.answering() as asked:
        page = visit.get(f"{address}/acknowledge").text
        visit.post(f"{address}/acknowledge", form=hidden(page, "form"))
    assert [(one.who, one.asked.incident) for one in asked] == [("the page", 2)]
    # Where a phone reaches a page that asks nobody who they are, only messages carry links.
    assert "/answer/" not in house.serve(public_url=PUBLIC).get("/").text


# -- behind a proxy --------------------------------------------------------------------------------------


def test_a_proxy_that_is_named_says_who_it_is_and_nobody_else_does(house: House) -> None:
    visit = house.serve(proxies=(HOME,), user_header="X-Remote-User")
    assert visit.get("/").status_code == 403
    assert "[page] user_header" in visit.get("/").text
    assert visit.get("/", **{"x-remote-user": "sam"}).status_code == 200
    assert visit.get("/log-in").status_code in (403, 404)
    for bad in ("", "x" * 101):
        assert visit.get("/", **{"x-remote-user": bad}).status_code == 403
    twice = httpx.get(
        visit.address, headers=[("x-remote-user", "sam"), ("x-remote-user", "eve")], trust_env=False
    )
    assert twice.status_code == 403
    page = visit.get("/", **{"x-remote-user": "sam"}).text
    assert "Log out" not in page
    form = {"form": hidden(page, "form"), "tank": "reef", "do": "end"}
    headers = {"x-remote-user": "sam", "origin": visit.address}
    with house.answering() as asked:
        assert visit.client.post("/work", data=form, headers=headers).status_code == 303
    assert [one.who for one in asked] == ["sam"]
    headers["x-remote-user"] = "eve"
    assert visit.client.post("/work", data=form, headers=headers).status_code == 403


def test_header_from_an_address_that_is_not_named_is_only_a_header(house: House) -> None:
    visit = house.serve(proxies=(ipaddress.ip_network("10.0.3.0/24"),), user_header="X-Remote-User")
    assert visit.get("/", **{"x-remote-user": "sam"}).status_code == 403


def test_tries_are_counted_by_whom_the_proxy_heard(house: House) -> None:
    visit = house.serve(password_hash=CHEAP, proxies=(HOME,))
    for _ in range(FROM_ONE):
        visit.client.post(
            "/log-in",
            data={"password": "wrong"},
            headers={"origin": visit.address, "x-forwarded-for": "6.6.6.6, 203.0.113.9"},
        )
    for told, status in (("203.0.113.9", 429), ("6.6.6.6, 203.0.113.9", 429), ("203.0.113.10", 303)):
        answer = visit.client.post(
            "/log-in",
            data={"password": PASSWORD},
            headers={"origin": visit.address, "x-forwarded-for": told},
        )
        assert answer.status_code == status, told


# -- parts -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("/incidents/1?last=5", "/incidents/1?last=5"),
        ("//evil.example", ""),
        ("/\\evil.example", ""),
        ("https://evil.example", ""),
        ("javascript:alert(1)", ""),
        ("/x\r\nset-cookie: a=b", ""),
        ("/log-out", ""),
        ("/" + "x" * 600, ""),
        ("", ""),
    ],
)
def test_only_a_path_of_ours_is_gone_on_to(text: str, path: str) -> None:
    assert own_path(text) == path


class Hand:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now_s = 1e9

    def __call__(self) -> float:
        return self.now_s


def test_sessions_outlast_a_restart_and_end_with_time_or_another_password(tmp_path: Path) -> None:
    clock, file = Hand(), tmp_path / SESSIONS
    token = Sessions("hash", file, clock).begin()
    assert file.stat().st_mode & 0o777 == 0o600
    assert token not in file.read_text()
    again = Sessions("hash", file, clock)
    assert again.goes_on(token)
    assert not Sessions("another", file, clock).goes_on(token)
    clock.now_s += LASTING_S - 1
    assert again.goes_on(token)
    clock.now_s += 1
    assert not again.goes_on(token)


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b'{"a": "b"}', b"\xff"])
def test_a_damaged_file_of_sessions_costs_a_log_in_and_no_more(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / SESSIONS
    file.write_bytes(content)
    sessions = Sessions("hash", file)
    assert sessions.goes_on(sessions.begin())


def test_sessions_are_not_kept_without_end(tmp_path: Path) -> None:
    clock = Hand()
    sessions = Sessions("hash", tmp_path / SESSIONS, clock)
    tokens = []
    for _ in range(60):
        clock.now_s += 1
        tokens.append(sessions.begin())
    assert [sessions.goes_on(one) for one in tokens] == [False] * 10 + [True] * 50


def test_tries_come_back_with_time_from_one_address_and_from_all() -> None:
    clock = Hand()
    attempts = Attempts(clock)
    assert [attempts.take("203.0.113.9") for _ in range(FROM_ONE)] == [0.0] * FROM_ONE
    assert attempts.take("203.0.113.9") == pytest.approx(ONE_AGAIN_S)
    clock.now_s += ONE_AGAIN_S
    assert attempts.take("203.0.113.9") == 0.0
    assert attempts.take("203.0.113.9") > 0.0
    # A whole network of one customer is one address.
    assert [attempts.take(f"2001:db8::{one:x}") for one in range(FROM_ONE)] == [0.0] * FROM_ONE
    assert attempts.take("2001:db8::ffff") > 0.0
    taken = sum(attempts.take(f"198.51.100.{one}") == 0.0 for one in range(FROM_ALL))
    assert 0 < taken < FROM_ALL
    assert 0.0 < attempts.take("198.51.101.1") <= ALL_AGAIN_S


def test_addresses_are_not_remembered_without_end() -> None:
    clock = Hand()
    attempts = Attempts(clock)
    for one in range(3000):
        clock.now_s += ALL_AGAIN_S
        assert attempts.take(f"10.0.{one // 250}.{one % 250}") == 0.0
    assert len(attempts._each) == 1000


def test_an_address_that_others_reach_is_not_served_to_everybody(
    tmp_path: Path, configuration: Configuration
) -> None:
    open_to_all = replace(configuration, page=PageConfiguration(host="0.0.0.0", port=8460))
    with pytest.raises(ConfigError, match="no password is set"):
        serve_in_thread(open_to_all, lambda: StoreReader(tmp_path), standing_clock())
    closed = replace(configuration, page=PageConfiguration(host="0.0.0.0", port=0, password_hash=CHEAP))
    with serve_in_thread(closed, lambda: StoreReader(tmp_path), standing_clock()) as server:
        port = server.address.rpartition(":")[2]
        for host, status in (("192.168.7.5", 303), ("[fd00::5]", 303), ("evil.example", 421)):
            answer = httpx.get(f"http://127.0.0.1:{port}/", headers={"host": host}, trust_env=False)
            assert answer.status_code == status, host
