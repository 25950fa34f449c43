"""The service is killed while it delivers: nothing is lost, and what may have come twice says so."""

from __future__ import annotations

import json
import random
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import psutil
import pytest

from collector.store import Store
from tests.delivery.post import BODY, REPEATED, TITLE, message, outcomes, put, query, states
from tests.delivery.receivers import WebReceiver, wait_for

REPORT_TITLE = "Messages do not reach sam over json"
ROOT = Path(__file__).resolve().parents[2]


def service(path: Path, urls: Sequence[str], *options: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.delivery.service_process", str(path), *urls, *options]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def finish(path: Path, *urls: str) -> dict[str, Any]:
    with service(path, urls, "--once") as process:
        held, _ = process.communicate(timeout=60)
    assert process.returncode == 0
    return json.loads(held)


def kill_at(step: str, path: Path, *urls: str) -> None:
    with service(path, urls, "--die-at", step) as process:
        assert process.wait(60) == -signal.SIGKILL
    # A sender left behind finishes what it was given and ends: nobody writes to it any more.
    wait_for(lambda: not _senders())


def steps_of(*kinds: str, tries: int) -> list[str]:
    return [f"{kind} {number}" for number in range(1, tries + 1) for kind in kinds]


STEPS = ("before start", "after start", "before end", "after end")


@pytest.mark.parametrize(
    ("step", "bodies", "tries"),
    [
        ("before start 1", [BODY], ["delivered"]),
        ("after start 1", [REPEATED], ["interrupted", "delivered"]),
        ("before end 1", [BODY, REPEATED], ["interrupted", "delivered"]),
        ("after end 1", [BODY], ["delivered"]),
    ],
)
def test_service_killed_at_a_step_costs_at_most_one_marked_repetition(
    store: Store, path: Path, step: str, bodies: list[str], tries: list[str]
) -> None:
    now_us = time.time_ns() // 1000
    put(store, now_us, message(now_us))
    with WebReceiver() as web:
        kill_at(step, path, web.url)
        finish(path, web.url)
    assert [body for _, body in web.rings] == bodies
    assert outcomes(path) == tries
    assert states(path) == ["done"]


def test_the_steps_below_are_all_that_there_are(store: Store, path: Path) -> None:
    """The first channel refuses, the second takes the message, and then the report about the first."""
    now_us = time.time_ns() // 1000
    put(store, now_us, message(now_us))
    with WebReceiver(500) as first, WebReceiver() as second:
        held = finish(path, first.url, second.url)
    assert sorted(held["steps"]) == sorted(steps_of(*STEPS, tries=3))
    assert [title for title, _ in second.rings] == [TITLE, REPORT_TITLE]


@pytest.mark.parametrize("step", steps_of(*STEPS, tries=3))
def test_killed_at_any_step_of_a_channel_that_fails_every_message_comes_once_or_is_marked(
    store: Store, path: Path, step: str
) -> None:
    now_us = time.time_ns() // 1000
    put(store, now_us, message(now_us))
    with WebReceiver(500) as first, WebReceiver() as second:
        kill_at(step, path, first.url, second.url)
        finish(path, first.url, second.url)
    titles = [title for title, _ in second.rings]
    assert {*titles} == {TITLE, REPORT_TITLE}
    # One kill costs one repetition at most, of the message or of the report.
    assert len(titles) <= 3
    for title in {*titles}:
        bodies = [body for one, body in second.rings if one == title]
        assert all("Possibly repeated." in body for body in bodies[1:])
    assert "waiting" not in states(path)
    assert query(path, "SELECT count(*) FROM outbox WHERE kind = 'channel_fails'") == [(1,)]


@pytest.mark.long
def test_service_killed_at_random_instants_loses_nothing(store: Store, path: Path) -> None:
    draw = random.Random(20260308)
    count, kills = 16, 3
    now_us = time.time_ns() // 1000
    put(store, now_us, *(message(now_us, incident=n, title=str(n)) for n in range(1, count + 1)))
    with WebReceiver(hold_s=0.05) as web:
        for _ in range(kills):
            with service(path, [web.url]) as process:
                before = web.requests
                wait_for(lambda before=before: web.requests > before)
                time.sleep(draw.uniform(0.0, 0.3))
                process.kill()
            # A sender left behind finishes what it was given and ends: nobody writes to it any more.
            wait_for(lambda: not _senders())
        finish(path, web.url)
    assert states(path) == ["done"] * count
    titles = [title for title, _ in web.rings]
    assert set(titles) == {str(number) for number in range(1, count + 1)}
    assert len(titles) <= count + kills
    for number in set(titles):
        bodies = [body for title, body in web.rings if title == number]
        assert bodies[1:] == [REPEATED] * (len(bodies) - 1)


def test_service_itself_never_holds_apprise_and_the_sender_is_gone_afterwards(
    store: Store, path: Path
) -> None:
    now_us = time.time_ns() // 1000
    put(store, now_us, message(now_us))
    with WebReceiver() as web:
        held = finish(path, web.url)
    assert held["most_children"] == 1
    assert held["children"] == 0
    assert not held["apprise"]
    # apprise alone is some 20 MB: what stays behind is a thread and a few records.
    assert held["grown_bytes"] < 4_000_000


def _senders() -> list[psutil.Process]:
    """Sender processes that lost their service: this test's own are the only ones that look so."""
    found = []
    for process in psutil.process_iter(["cmdline", "ppid", "cwd"]):
        command = process.info["cmdline"] or []
        is_ours = process.info["cwd"] == str(ROOT)
        if "collector.sending" in command and process.info["ppid"] == 1 and is_ours:
            found.append(process)
    return found
