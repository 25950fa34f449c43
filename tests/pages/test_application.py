"""What holds for every page: headers, methods, names, escaping, and that nothing asked for breaks it."""

from __future__ import annotations

import http.client
import re
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.configuration import Configuration, PageConfiguration
from collector.errors import StoreError
from collector.pages import Record, serve_in_thread
from collector.store import Commit, IncidentRecord, Store
from tests.examples import few
from tests.pages import tank
from tests.pages.conftest import Serve, standing_clock
from tests.pages.tank import HOUR, NOW

PATHS = (
    "/",
    "/now.json",
    "/incidents",
    "/incidents/1",
    "/series/reef/temperature",
    "/static/brinebell.css",
    "/static/live.js",
    "/static/bell.svg",
    "/nowhere",
)


@pytest.fixture
def night(store: Store, configuration: Configuration) -> Store:
    tank.fill(store, configuration, value=tank.cooling, hours=4)
    tank.raise_heater_incident(store, configuration.store.path)
    return store


def get_as_written(pages: httpx.Client, path: str) -> tuple[int, http.client.HTTPMessage]:
    """Status and headers, without the client tidying the path up; not for the endless `/live`."""
    connection = http.client.HTTPConnection(pages.base_url.host, pages.base_url.port or 0, timeout=10)
    with closing(connection):
        connection.request("GET", path)
        answer = connection.getresponse()
        answer.read()
        return answer.status, answer.headers


@pytest.mark.parametrize("path", PATHS)
def test_every_answer_carries_the_strict_headers(pages: httpx.Client, night: Store, path: str) -> None:
    answer = pages.get(path)
    assert answer.status_code == (404 if path == "/nowhere" else 200)
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'none';")
    assert "unsafe" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert "set-cookie" not in answer.headers
    assert "server" not in answer.headers


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "BREW"])
def test_only_get_is_answered(pages: httpx.Client, night: Store, path: str, method: str) -> None:
    answer = pages.request(method, path)
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, HEAD"
    assert "content-security-policy" in answer.headers


def test_head_has_the_headers_of_get_and_no_body(pages: httpx.Client, night: Store) -> None:
    answer = pages.head("/")
    assert answer.status_code == 200
    assert answer.content == b""
    assert int(answer.headers["content-length"]) == len(pages.get("/").content)


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("localhost", 200),
        ("LOCALHOST:8460", 200),
        ("127.0.0.1:1", 200),
        ("[::1]:8460", 200),
        ("tank.example", 200),
        ("evil.example", 421),
        ("127.0.0.1.evil.example", 421),
        ("localhost@evil.example", 421),
        ("[::1", 421),
        ("", 421),
    ],
)
def test_page_answers_under_its_own_names_only(
    store: Store, tmp_path: Path, serve: Serve, host: str, status: int
) -> None:
    """A foreign name that is made to point here would let a web site read along (DNS rebinding)."""
    page = PageConfiguration(port=0, public_url="https://Tank.example/")
    server = serve(tank.configuration(tmp_path / "store", page=page))
    assert httpx.get(server.address, headers={"host": host}, trust_env=False).status_code == status


@pytest.mark.parametrize(
    "path", ["/static/../application.py", "/static/%2e%2e/application.py", "/static//etc/passwd", "/static/"]
)
def test_nothing_beside_the_static_files_is_served(pages: httpx.Client, night: Store, path: str) -> None:
    assert get_as_written(pages, path)[0] in (404, 405)


MARKUP = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>&{{7*7}}"


def test_names_and_words_from_outside_are_escaped_everywhere(tmp_path: Path, serve: Serve) -> None:
    series = [(name, quantity, MARKUP) for name, quantity, _ in tank.SERIES]
    configuration = tank.configuration(tmp_path, tanks=[("reef", MARKUP)], series=series)
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        tank.fill(store, configuration, hours=2)
        tank.set_board(store, MARKUP, is_online=False, since_us=NOW - HOUR)
        tank.raise_heater_incident(store, configuration.store.path)
        record = tank.heater_incident()
        evil = IncidentRecord(record.incident, MARKUP, MARKUP)
        store.commit(Commit(NOW, NOW, incidents=[evil]))
        with httpx.Client(base_url=serve(configuration).address, trust_env=False) as pages:
            for path in ("/", "/incidents", "/incidents/1", "/series/reef/temperature"):
                html = pages.get(path).text
                assert "&lt;script&gt;" in html, path
                assert "<img" not in html, path
                assert "49" not in re.findall(r"\{\{.*?\}\}|49&", html), path
                scripts = re.findall(r"<script[^>]*>", html)
                assert scripts in (
                    [],
                    *([f'<script src="/static/{name}.js" defer>'] for name in ("live", "charts")),
                ), path
            for path in (
                f"/{quote(MARKUP)}",
                f"/series/reef/{quote(MARKUP, safe='')}",
                f"/incidents?state={quote(MARKUP)}",
            ):
                assert "<script>" not in pages.get(path).text, path


def test_no_page_has_inline_script_or_style_or_a_foreign_address(pages: httpx.Client, night: Store) -> None:
    for path in PATHS[:5]:
        html = pages.get(path).text
        assert not re.search(r"\son\w+=|\sstyle=|<style|javascript:", html), path
        assert re.findall(r"(?:src|href)=\"(?!/|#|\?)[^\"]*", html) == [], path
        assert "//" not in re.sub(r"</?\w", "", html.replace("<!DOCTYPE html>", "")), path


def test_pages_are_titled_headed_and_in_english(pages: httpx.Client, night: Store) -> None:
    titles = set()
    for path in ("/", "/incidents", "/incidents/1", "/series/reef/temperature", "/nowhere"):
        html = pages.get(path).text
        assert '<html lang="en">' in html
        assert html.count("<h1") == 1
        titles.update(re.findall(r"<title>(.+?) – Brinebell</title>", html))  # noqa: RUF001
        for cell in re.findall(r"<th\b[^>]*>", html):
            assert "scope=" in cell, cell
    assert len(titles) == 5


def test_missing_store_is_told_and_looked_for_again(tmp_path: Path, serve: Serve) -> None:
    configuration = tank.configuration(tmp_path / "later")
    with httpx.Client(base_url=serve(configuration).address, trust_env=False) as pages:
        for path in ("/", "/now.json", "/incidents", "/series/reef/temperature"):
            answer = pages.get(path)
            assert answer.status_code == 503
            assert "There is nothing to show yet" in answer.text
            assert answer.headers["refresh"] == "10"
        with Store(configuration.store.path) as store:
            store.register(configuration.series)
            assert pages.get("/").status_code == 200


def test_mistake_of_ours_is_a_worded_page_and_a_traceback_in_the_log(
    configuration: Configuration, caplog: pytest.LogCaptureFixture
) -> None:
    def broken() -> Record:
        raise ZeroDivisionError("a mistake")

    with serve_in_thread(configuration, broken, standing_clock()) as server:
        answer = httpx.get(server.address, trust_env=False)
    assert answer.status_code == 500
    assert "This page could not be made." in answer.text
    assert "content-security-policy" in answer.headers
    assert "a mistake" not in answer.text
    assert "ZeroDivisionError: a mistake" in caplog.text


def test_reason_of_a_missing_store_stays_in_the_log(configuration: Configuration) -> None:
    def missing() -> Record:
        raise StoreError("there is no store at /home/keeper/secret")

    with serve_in_thread(configuration, missing, standing_clock()) as server:
        assert "/home/keeper" not in httpx.get(server.address, trust_env=False).text


_piece = st.one_of(
    st.sampled_from(
        ["", "now.json", "incidents", "series", "reef", "temperature", "static", "live.js", "..", "%00"]
    ),
    st.integers(-(2**70), 2**70).map(str),
    st.text(max_size=20).map(lambda text: quote(text, safe="")),
    st.binary(max_size=8).map(lambda raw: quote(raw, safe="")),
)
_pair = st.tuples(
    st.sampled_from(["hours", "last", "end", "q"]),
    st.one_of(st.integers(-(2**70), 2**70).map(str), st.text(max_size=20)),
)


@settings(max_examples=few(400), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=st.lists(_piece, max_size=5), pairs=st.lists(_pair, max_size=3))
def test_no_address_breaks_a_page(
    pages: httpx.Client, night: Store, pieces: list[str], pairs: list[tuple[str, str]]
) -> None:
    query = "&".join(f"{key}={quote(value, safe='')}" for key, value in pairs)
    status, headers = get_as_written(pages, f"/{'/'.join(pieces)}?{query}")
    assert status in (200, 307, 400, 404, 405)
    assert "content-security-policy" in headers


@settings(max_examples=few(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(["temperature", "ph", "heater_power", "floor_leak"]),
    hours=st.one_of(st.integers(1, 87_840), st.sampled_from([1, 48, 49, 8784])),
)
def test_every_series_can_be_shown_over_every_span(
    pages: httpx.Client, night: Store, name: str, hours: int
) -> None:
    assert pages.get(f"/series/reef/{name}?hours={hours}").status_code == 200
