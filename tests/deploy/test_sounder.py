"""The sounder's decision, by hand and with the real service over a real broker; the board is not here."""

from __future__ import annotations

import ast
import importlib.util
import json
import re
import signal
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from collector.liveness import EVERY_S
from collector.publishing import TOPICS
from tests.broker import Listener, mosquitto
from tests.test_crash import SETTINGS
from tests.test_service import Service, publish_hot

FOLDER = Path(__file__).resolve().parents[2] / "deploy" / "sounder"
WORD, SIGN = b"brinebell/reef/sounder", b"brinebell/service/brinebell/sign_of_life"


def load() -> ModuleType:
    specification = importlib.util.spec_from_file_location("decide", FOLDER / "decide.py")
    assert specification is not None
    assert specification.loader is not None
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    return module


decide = load()


def sign(number: int, every_s: int = 60) -> bytes:
    return json.dumps({"at": f"2026-01-01T00:{number:02d}:00Z", "every_s": every_s}).encode()


def test_it_sounds_when_told_and_until_told_otherwise() -> None:
    sounder = decide.Sounder(0)
    assert sounder.what(0) == "quiet"
    sounder.hear(WORD, b"sound", 1)
    assert sounder.what(1) == sounder.what(10_000) == "sound"
    sounder.hear(WORD, b"quiet", 10)
    assert sounder.what(11) == "quiet"


@pytest.mark.parametrize("payload", [b"", b"nonsense"])
def test_what_is_no_word_is_quiet(payload: bytes) -> None:
    sounder = decide.Sounder(0)
    sounder.hear(WORD, b"sound", 1)
    sounder.hear(WORD, payload, 2)
    assert sounder.what(3) == "quiet"


@pytest.mark.parametrize(("later_s", "what"), [(179, "quiet"), (180, "quiet"), (181, "chirp")])
def test_it_chirps_when_three_signs_were_missed(later_s: int, what: str) -> None:
    sounder = decide.Sounder(0)
    sounder.hear(SIGN, sign(0), 5)
    sounder.hear(SIGN, sign(1), 100)
    assert sounder.what(100 + later_s) == what


def test_a_sign_that_the_broker_kept_of_a_dead_service_is_none() -> None:
    sounder = decide.Sounder(0)
    # It comes again with each connection of the board.
    for now_s in range(0, 200, 20):
        sounder.hear(SIGN, sign(7), now_s)
    assert sounder.what(181) == "chirp"
    sounder.hear(SIGN, sign(8), 200)
    assert sounder.what(201) == "quiet"


def test_a_service_that_gives_signs_at_another_pace_is_believed_and_a_broken_sign_is_still_one() -> None:
    sounder = decide.Sounder(0)
    sounder.hear(SIGN, sign(0, 600), 0)
    assert sounder.what(1800) == "quiet"
    assert sounder.what(1801) == "chirp"
    for payload in (b"", b"[]", b'{"every_s": null}', b"{"):
        sounder.hear(SIGN, payload, 2000)
        assert sounder.what(2001) == "quiet"
        assert sounder.every_s == 60


def test_it_keeps_to_what_micropython_has_and_to_topics_that_are_published() -> None:
    """MicroPython has json but no typing, dataclasses or enum (its documentation, from memory)."""
    tree = ast.parse((FOLDER / "decide.py").read_text())
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    assert names == {"json"}
    beyond = (ast.ImportFrom, ast.AnnAssign, ast.Match, ast.JoinedStr, ast.AsyncFunctionDef, ast.TryStar)
    assert not [node for node in ast.walk(tree) if isinstance(node, beyond)]
    assert decide.EVERY_S == EVERY_S
    text = (FOLDER / "main.py").read_text()
    ast.parse(text)
    subscribed = re.sub(r'" \+ (\w+) \+ "', "x", text.partition("TOPICS = (")[2].partition(")")[0])
    found = re.findall(r'"([^"]+)"', subscribed)
    patterns = [re.sub("<[^>]+>", "[^/]+", topic.pattern) for topic in TOPICS]
    assert len(found) == 2
    assert all(any(re.fullmatch(pattern, one) for pattern in patterns) for one in found)


@pytest.mark.broker
def test_with_the_real_service_it_sounds_for_an_urgent_alarm_and_chirps_when_that_is_killed(
    tmp_path: Path,
) -> None:
    text = SETTINGS.replace("alarm_high", 'priority = "urgent"\nalarm_high')
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as heard:
        sounder: Any = decide.Sounder(0)
        taken = 0

        def what(now_s: float) -> str:
            nonlocal taken
            for topic, payload in heard.heard[taken:]:
                taken += 1
                sounder.hear(topic.encode(), payload, now_s)
            return str(sounder.what(now_s))

        service = Service(
            tmp_path,
            broker.port,
            has_page=False,
            urls="",
            text=text.format(port=broker.port, interval="50 ms"),
        )
        try:
            service.until(service.is_live)
            service.until(lambda: heard[SIGN.decode()] is not None)
            assert what(1) == "quiet"

            def sounds() -> bool:
                publish_hot(broker)
                return what(2) == "sound"

            service.until(sounds, 40)

            def is_quiet() -> bool:
                broker.publish("boards/timed", json.dumps({"value": 25.0, "time": time.time_ns() // 1000}))
                return what(3) == "quiet"

            service.until(is_quiet, 40)
            service.stop(signal.SIGKILL)
            assert what(179) == "quiet"
            assert what(200) == "chirp"
        finally:
            if service.process.poll() is None:
                service.process.kill()
                service.process.wait(10)
