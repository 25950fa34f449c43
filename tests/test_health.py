"""How the service is: each fact by hand, and all of them from the real service, over HTTP and MQTT."""

from __future__ import annotations

import json
import signal
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.checks import Verdict
from collector.checks.boards import check_boards
from collector.checks.channels import check_channels
from collector.checks.clock import check_clock
from collector.clock import NOTE, Clock
from collector.configuration import Configuration
from collector.health import EVERY_S, HealthWatch
from collector.intake import LineState
from collector.settings import load_configuration
from collector.store import BoardState, Commit, Store
from tests.broker import Listener, mosquitto
from tests.intake.parts import MINUTE, SECOND, START_US, configuration
from tests.test_crash import SETTINGS
from tests.test_service import Service
from tests.test_service import start as start

HEALTH = "brinebell/service/brinebell/health"


def told(findings: Any) -> list[tuple[str, str]]:
    return [(str(one.verdict), one.text) for one in findings]


@pytest.fixture
def recorded(tmp_path: Path) -> tuple[Configuration, Store]:
    """One board and two series, in a store in which nothing stands yet."""
    known = configuration(tmp_path)
    store = Store(known.store.path, synchronous="OFF")
    store.register(known.series)
    return known, store


def reads(store: Store, series: int, at_us: int) -> None:
    store.commit(Commit(at_us, at_us, rows=[(series, at_us, 25.0, 1, 0, 0, 0, b"")]))


# -- boards ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("is_online", "verdict", "text"),
    [
        (None, "note", "reef/sump has never said that it is there"),
        (True, "well", "reef/sump is connected since 2026-09-21 14:13"),
        (False, "wrong", "reef/sump is gone since 2026-09-21 14:13"),
    ],
)
def test_a_board_is_told_with_since_when(
    recorded: tuple[Configuration, Store], is_online: bool | None, verdict: str, text: str
) -> None:
    known, store = recorded
    boards = [] if is_online is None else [BoardState("reef", "sump", is_online, START_US)]
    store.commit(Commit(START_US, START_US, boards=boards))
    assert (verdict, text) in told(check_boards(known, START_US + MINUTE))
    store.close()


@pytest.mark.parametrize(("later_s", "is_silent"), [(900, False), (901, True)])
def test_a_series_is_silent_beyond_its_gap_and_one_without_a_gap_is_not(
    recorded: tuple[Configuration, Store], later_s: int, is_silent: bool
) -> None:
    known, store = recorded
    for series in range(len(known.series)):
        reads(store, series, START_US)
    found = told(check_boards(replace(known, boards=()), START_US + later_s * SECOND))
    if is_silent:
        assert found[0] == ("wrong", "reef/temperature has said nothing since 2026-09-21 14:13")
    assert found[-1] == ("well", f"readings come of {1 if is_silent else 2} of 2 series")
    store.close()


def test_series_that_never_spoke_are_named_with_what_to_look_at(
    recorded: tuple[Configuration, Store],
) -> None:
    known, store = recorded
    [found] = check_boards(replace(known, boards=()), START_US)
    assert found.text == "no reading has ever come of reef/temperature, reef/redox"
    assert "[[sources]]" in found.mend
    store.close()


# -- clock and channels ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("behind_us", "knows", "verdict"),
    [
        (2 * SECOND, None, "well"),
        (2 * SECOND, True, "well"),
        (2 * SECOND, False, "wrong"),
        (2 * SECOND + 1, True, "wrong"),
    ],
)
def test_a_clock_that_nobody_set_or_that_is_behind_is_wrong(
    recorded: tuple[Configuration, Store], behind_us: int, knows: bool | None, verdict: str
) -> None:
    known, store = recorded
    store.commit(Commit(START_US, START_US))
    [found] = check_clock(known, wall=lambda: START_US - behind_us, knows=lambda: knows)
    assert found.verdict == verdict
    assert ("timedatectl" in found.mend) is (verdict == "wrong")
    store.close()


def test_the_clock_of_a_demo_is_not_held_against_the_wall(recorded: tuple[Configuration, Store]) -> None:
    known, store = recorded
    store.commit(Commit(START_US, START_US))
    store.set_note(NOTE, Clock(START_US, 120.0).note())
    assert [one.verdict for one in check_clock(known, wall=lambda: 0, knows=lambda: True)] == ["well"]
    store.close()


def test_a_channel_that_fails_is_told_with_its_reason(recorded: tuple[Configuration, Store]) -> None:
    known, store = recorded
    assert list(check_channels(known)) == []
    with closing(sqlite3.connect(known.store.path)) as connection, connection:
        connection.execute(
            "INSERT INTO failing_channels(person, channel, since_us, reason) VALUES(?, ?, ?, ?)",
            ("sam", "mailto", START_US, "full"),
        )
    [found] = check_channels(known)
    assert found.text == "sam: mailto takes no message since 2026-09-21 14:13 (full)"
    assert found.verdict is Verdict.WRONG
    store.close()


# -- the watch ------------------------------------------------------------------------------------


class Line:
    def __init__(self) -> None:
        self.is_up, self.said = True, []

    def sign(self, payload: bytes, name: str = "") -> bool:
        assert name == "health"
        if self.is_up:
            self.said.append(json.loads(payload))
        return self.is_up


def test_it_is_sent_when_it_changes_and_anew_on_each_connection(
    recorded: tuple[Configuration, Store],
) -> None:
    known, store = recorded
    line, now_s = Line(), [0.0]
    state, refuses = [LineState(True, START_US, False)], [False]
    watch = HealthWatch(
        known, lambda: START_US, lambda: state[0], lambda: refuses[0], monotonic=lambda: now_s[0]
    )

    def passes(seconds: float) -> int:
        now_s[0] += seconds
        watch.turn(line)
        return len(line.said)

    assert [passes(0), passes(1), passes(EVERY_S), passes(EVERY_S)] == [1, 1, 1, 1]
    store.commit(Commit(START_US, START_US, boards=[BoardState("reef", "sump", False, START_US)]))
    assert [passes(1), passes(EVERY_S)] == [1, 2]
    assert line.said[-1]["verdict"] == "wrong"
    state[0], line.is_up = LineState(False, START_US, False), False
    assert passes(1) == 2
    last = watch.last()
    assert last is not None
    assert last["findings"][0]["text"].startswith("127.0.0.1:1883 is not reached since 2026-09-21 14:13")
    state[0], line.is_up = LineState(True, START_US + MINUTE, False), True
    assert passes(1) == 3
    refuses[0] = True
    assert passes(1) == 4
    assert line.said[-1]["storing"] is False
    # A loop that does not come round has nothing to say.
    now_s[0] += 3 * EVERY_S
    assert watch.last() is not None
    now_s[0] += 1
    assert watch.last() is None
    store.close()


@pytest.mark.broker
def test_the_real_service_tells_the_same_over_mqtt_and_http(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    board = '[[boards]]\ntank = "reef"\nname = "sump"\ntopic = "boards/status/sump"\n'
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as heard:
        text = SETTINGS.format(port=broker.port, interval="50 ms") + board
        service = start(broker.port, has_page=True, text=text)
        service.until(lambda: heard[HEALTH] is not None)
        page = load_configuration(service.settings, {}).page
        address = f"http://127.0.0.1:{page.port}/health.json"

        def is_told(verdict: str, text: str) -> bool:
            found = json.loads(heard[HEALTH] or b"{}")
            return {"part": "boards", "verdict": verdict, "text": text}.items() <= _board(found).items()

        service.until(lambda: is_told("note", "reef/sump has never said that it is there"))
        answer = httpx.get(address)
        assert answer.status_code == 200
        assert answer.headers["Cache-Control"] == "no-store"
        found = answer.json()
        assert found["storing"] is True
        assert {one["part"] for one in found["findings"]} >= {"broker", "clock", "store", "boards", "usual"}
        assert all(one["mend"] for one in found["findings"] if one["verdict"] == "wrong")
        assert {**found, "at": ""} == {**json.loads(heard[HEALTH] or b""), "at": ""}
        assert service.stop(signal.SIGTERM) == 0


def _board(found: dict[str, Any]) -> dict[str, Any]:
    return next((one for one in found.get("findings", []) if "sump" in one["text"]), {})
