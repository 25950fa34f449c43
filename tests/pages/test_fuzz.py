"""Every route asked for anything, with a session and without: nothing breaks, and strangers learn nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from typing import NamedTuple
from urllib.parse import quote, urlencode

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.routing import Route

from collector.configuration import PageConfiguration
from collector.links import Link
from collector.pages import Answers, create_application
from collector.store import RequestBox, StoreReader
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import NOW
from tests.pages.test_answering import LINKS, hidden
from tests.pages.test_application import get_as_written
from tests.pages.test_door import House, Visit
from tests.test_passwords import CHEAP

# What a stranger must never read.
SECRETS = ("Display temperature", "The reef", "24.6", "Heater failed")
OWN = f"/answer/{LINKS.text(Link('sam', 1), NOW)}"


class Both(NamedTuple):
    """Somebody who has logged in, with the seal of a form, and a stranger."""

    keeper: Visit
    seal: str
    stranger: Visit


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Both]:
    with ExitStack() as stack:
        house = House(tmp_path_factory.mktemp("house"), stack)
        keeper = house.serve(password_hash=CHEAP)
        keeper.log_in()
        stranger = Visit(keeper.address)
        stack.enter_context(stranger.client)
        stack.enter_context(house.answering())
        yield Both(keeper, hidden(keeper.get("/").text, "form"), stranger)


def routes() -> list[tuple[str, str]]:
    """Path and method of every route that there is: a new one is asked for by being there."""
    configuration = tank.configuration(tank.Path("nowhere"), page=PageConfiguration(password_hash=CHEAP))
    path = configuration.store.path
    answers = Answers(LINKS, lambda: RequestBox(path))
    application = create_application(
        configuration, lambda: StoreReader(path), standing_clock(), answers=answers
    )
    return sorted(
        (route.path, method)
        for route in application.routes
        if isinstance(route, Route) and route.path != "/live"
        for method in route.methods or ()
    )


ROUTES = routes()
WORDS = st.one_of(
    st.sampled_from(
        ["", "reef", "temperature", "1", "2", "0", "-1", "9" * 30, "water_change", "45 min", "plan"]
    ),
    st.sampled_from(
        [
            "day",
            "ended",
            "24.5",
            "late",
            "calibrated",
            "cancel",
            "end",
            "begin",
            "2026-03-09T10:00",
            "in a month",
            "..",
            "%2e%2e",
            "\0",
        ]
    ),
    st.text(max_size=30),
)
FIELDS = [
    "form",
    "tank",
    "kind",
    "for",
    "do",
    "starts",
    "series",
    "on",
    "due",
    "note",
    "from",
    "to",
    "password",
    "verdict",
    "cause",
    "began",
]

QUERY = ["hours", "page", "asked", "from", "to", "against", "state", "cause", "series", "alarm_low", "x"]


def filled(path: str, words: list[str]) -> str:
    """A route with something in each of its places."""
    for name in ("{text}", "{deed}", "{tank}", "{name}", "{number:int}"):
        path = path.replace(name, quote(words.pop() or "x", safe=""))
    return path


@settings(max_examples=150, deadline=None)
@given(
    route=st.sampled_from(ROUTES),
    words=st.lists(WORDS, min_size=5, max_size=5),
    query=st.dictionaries(st.sampled_from(QUERY), WORDS, max_size=3),
    form=st.dictionaries(st.sampled_from(FIELDS), WORDS, max_size=8),
    is_sealed=st.booleans(),
)
def test_no_route_breaks_or_tells_a_stranger_anything(
    both: Both,
    route: tuple[str, str],
    words: list[str],
    query: dict[str, str],
    form: dict[str, str],
    is_sealed: bool,
) -> None:
    path, method = route
    place = filled(path, list(words)) + (f"?{urlencode(query, errors='replace')}" if query else "")
    if is_sealed:
        form = form | {"form": both.seal}
    # Logging out is tried elsewhere: here it would end the session of all that follows.
    visits = [both.stranger] if path in ("/log-out", "/log-in") else [both.stranger, both.keeper]
    for visit in visits:
        if method == "POST":
            answer = visit.client.post(
                place,
                content=urlencode(form, errors="replace"),
                headers={"origin": visit.address, "content-type": "application/x-www-form-urlencoded"},
            )
        else:
            answer = visit.client.request(method, place)
        assert answer.status_code < 500, (method, place)
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        if visit is both.stranger:
            assert not any(secret in answer.text for secret in SECRETS), (method, place)
            assert answer.status_code != 200 or path == "/log-in", (method, place)
            assert answer.headers.get("location", "/").startswith("/"), (method, place)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../../passwords.py",
        "/static/%2e%2e/%2e%2e/passwords.py",
        "/static/..%2f..%2fpasswords.py",
        "/static//etc/passwd",
        "/static/....//....//etc/passwd",
        "/static/%00",
        "/static/..\\..\\passwords.py",
        f"{OWN}/../../incidents/1",
        f"{OWN}/..%2f..%2fincidents%2f1",
        "//evil.example/incidents/1",
        "/./incidents/1",
        "/%69ncidents/1",
        "/INCIDENTS/1",
        "/static/../incidents/1",
    ],
)
def test_no_way_round_the_door_or_out_of_the_folder_of_files(both: Both, path: str) -> None:
    status, headers = get_as_written(both.stranger.client, path)
    assert status in (303, 404, 405)
    assert "content-security-policy" in headers
    answer = httpx.get(f"{both.stranger.address}{path}", trust_env=False)
    assert not any(secret in answer.text for secret in (*SECRETS, "root:", "argon2"))


def test_what_cannot_be_a_request_at_all_ends_nothing(both: Both) -> None:
    for headers in (
        {"cookie": "brinebell=" + "x" * 8000},
        {"cookie": "=;;=\xff; brinebell"},
        {"x-forwarded-for": "," * 500},
        {"host": "\xff"},
    ):
        answer = both.stranger.client.get(
            "/", headers=[(key, one.encode("latin-1")) for key, one in headers.items()]
        )
        assert answer.status_code in (303, 400, 421)
    assert both.keeper.get("/").status_code == 200
