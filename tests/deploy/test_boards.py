"""The sketches of boards, run on stand-ins of their libraries, and their packs through the real service.

The boards themselves, their sensors and the real libraries are not here; the stand-ins are from memory of
what these libraries document.
"""

from __future__ import annotations

import ast
import json
import shutil
import sqlite3
import subprocess
import sys
import time
from collections import defaultdict
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import gsw
import pytest

from tests.broker import mosquitto
from tests.test_service import Service

BOARDS = Path(__file__).resolve().parents[2] / "deploy" / "boards"
STUBS = Path(__file__).parent / "stubs"
READINGS, STATUS = "boards/sump/readings", "boards/status/sump"
ROUNDS = 12


class Run(NamedTuple):
    """What a sketch did at its broker, in order, and when its clock began."""

    told: list[list[Any]]
    start_s: int

    @property
    def packs(self) -> list[str]:
        return [one[2] for one in self.told if one[0] == "publish" and one[1] == READINGS]


@pytest.fixture(scope="module")
def commands(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """What runs each sketch."""
    compiler = shutil.which("g++")
    if compiler is None:
        pytest.skip("skipped: no g++ (apt install g++)")
    program = tmp_path_factory.mktemp("board") / "board"
    includes = [f"-I{STUBS / 'arduino'}", f"-I{BOARDS / 'arduino'}"]
    warnings = ["-std=c++17", "-Wall", "-Wextra", "-Werror", "-fsanitize=address,undefined"]
    source = str(STUBS / "arduino" / "board.cpp")
    subprocess.run([compiler, *warnings, *includes, source, "-o", str(program)], check=True, timeout=120)
    stub, sketch = STUBS / "micropython" / "board.py", BOARDS / "micropython" / "main.py"
    return {"micropython": [sys.executable, str(stub), str(sketch)], "arduino": [str(program)]}


def _run(command: list[str], start_s: int) -> Run:
    done = subprocess.run(
        [*command, str(ROUNDS), str(start_s)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return Run([json.loads(line) for line in done.stdout.splitlines()], start_s)


@pytest.fixture(scope="module")
def runs(commands: dict[str, list[str]]) -> dict[str, Run]:
    """A run of each: ten minutes ago, and five."""
    now_s = int(time.time())
    return {
        name: _run(command, now_s - ago_s)
        for (name, command), ago_s in zip(commands.items(), (600, 300), strict=True)
    }


@pytest.fixture(params=["micropython", "arduino"])
def run(request: pytest.FixtureRequest, runs: dict[str, Run]) -> Run:
    """The run of one."""
    return runs[request.param]


def test_its_will_is_known_before_it_speaks_and_all_it_says_is_acknowledged(run: Run) -> None:
    words = [one[0] for one in run.told]
    assert ["will", STATUS, "offline", True, 1] in run.told[: words.index("connect")]
    assert run.told[words.index("connect") + 1] == ["publish", STATUS, "online", True, 1]
    assert next(one[1:3] for one in run.told if one[0] == "client") == ["board-sump", "sump"]
    assert all(one[3:] == [False, 1] for one in run.told if one[0] == "publish" and one[1] == READINGS)


def test_no_pack_is_lost_while_network_and_broker_are_away(run: Run) -> None:
    words = [one[0] for one in run.told]
    assert words.count("lost") == 1
    assert words.count("connect") == 2
    times = [json.loads(pack)[0]["bt"] for pack in run.packs]
    assert len(times) >= ROUNDS - 1
    assert times == sorted(times)
    assert all(9 <= later - earlier <= 11 for earlier, later in pairwise(times))
    assert times[0] <= run.start_s + 1


def test_a_probe_that_has_not_measured_says_nothing(run: Run) -> None:
    names = [[record["n"] for record in json.loads(pack)] for pack in run.packs]
    assert names[0] == ["ph", "conductivity", "reservoir"]
    assert all(one == ["temperature", "ph", "conductivity", "reservoir"] for one in names[1:])


@pytest.mark.parametrize("sketch", ["micropython", "arduino"])
def test_a_board_whose_clock_is_not_set_leaves_the_time_to_the_service(
    sketch: str, commands: dict[str, list[str]]
) -> None:
    packs = _run(commands[sketch], 7).packs
    assert packs
    assert not [pack for pack in packs if "bt" in pack]
    # One that waited would be told as of now, so it is not sent late.
    assert len(packs) < ROUNDS


@pytest.mark.broker
def test_the_real_service_with_their_configuration_makes_readings_of_what_they_say(
    runs: dict[str, Run], tmp_path: Path
) -> None:
    packs = [pack for run in runs.values() for pack in run.packs]
    with mosquitto(tmp_path / "broker") as broker:
        text = (BOARDS / "reef.toml").read_text().replace('host = "127.0.0.1"', f"port = {broker.port}")
        text = text.replace('listen = "127.0.0.1:8460"', "enabled = false")
        service = Service(tmp_path, broker.port, has_page=False, urls="", text=text)
        try:
            service.until(service.is_live)
            broker.publish(STATUS, "online", "-r")
            subprocess.run(
                ["mosquitto_pub", "-p", str(broker.port), "-q", "1", "-t", READINGS, "-l"],
                input="\n".join(packs) + "\n",
                text=True,
                check=True,
                timeout=60,
            )
            service.until(lambda: len(_readings(service.path)["ph"]) == len(packs))
            broker.publish(STATUS, "offline", "-r")
            service.until(lambda: _is_offline(service.path))
            assert service.stop() == 0
            assert "cannot be read" not in service.log
        finally:
            if service.process.poll() is None:
                service.process.kill()
                service.process.wait(10)
    readings = _readings(service.path)
    assert readings["temperature"] == pytest.approx([25.4] * (len(packs) - 2), abs=0.001)
    assert readings["reservoir"] == pytest.approx([15.0] * len(packs), abs=0.01)
    # 72 mV below zero of an electrode with 59.14 mV a pH at 25 degC, at 25.4 degC (Nernst).
    assert readings["ph"][-1] == pytest.approx(7 + 72.04 / (178 / 3.01 * (273.15 + 25.4) / 298.15), abs=0.002)
    # TEOS-10's own function: mS/cm, degC, dbar.
    assert readings["practical_salinity"][-1] == pytest.approx(
        float(gsw.SP_from_C(53.0, 25.4, 0.0)), abs=0.01
    )


def _readings(path: Path) -> dict[str, list[float]]:
    sql = "SELECT name, value FROM readings JOIN series ON series.id = readings.series ORDER BY observed_us"
    found: dict[str, list[float]] = defaultdict(list)
    with closing(sqlite3.connect(path)) as connection:
        for name, value in connection.execute(sql):
            found[name].append(value)
    return found


def _is_offline(path: Path) -> bool:
    with closing(sqlite3.connect(path)) as connection:
        found = connection.execute("SELECT count(*) FROM boards WHERE is_online = 0").fetchone()
    return bool(found[0])


def test_the_sketch_for_micropython_keeps_to_what_that_has() -> None:
    """It has json but no typing, dataclasses or enum, and f-strings only lately (from memory)."""
    tree = ast.parse((BOARDS / "micropython" / "readings.py").read_text())
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    assert names == {"json"}
    for name in ("readings.py", "main.py"):
        tree = ast.parse((BOARDS / "micropython" / name).read_text())
        beyond = (ast.AnnAssign, ast.Match, ast.JoinedStr, ast.AsyncFunctionDef, ast.TryStar)
        assert not [node for node in ast.walk(tree) if isinstance(node, beyond)]


def test_their_readme_has_the_cautions() -> None:
    text = (BOARDS / "README.md").read_text()
    for word in (
        "residual current device",
        "GFCI",
        "drip loop",
        "licensed electrician",
        "local code",
        "solate",
    ):
        assert word in text
