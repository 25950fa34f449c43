"""A real broker on a free port, and a configuration that points at it."""

from __future__ import annotations

import io
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from collector.__main__ import main

Run = Callable[..., "subprocess.CompletedProcess[str]"]

# What the configurations of these tests have in common: one series and a source for it.
SERIES = """
[tanks.reef.series.temperature]
quantity = "temperature"

[[sources]]
topic = "boards/sump/temperature"
format = "number"
tank = "reef"
series = "temperature"
"""


def free_port() -> int:
    """A port that nobody listens at for now."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run the command line in a process and a folder of its own."""

    def run(*arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "collector", *arguments],
            cwd=tmp_path,
            env={
                "PYTHONPATH": str(Path(__file__).parents[2]) + os.pathsep + os.environ.get("PYTHONPATH", ""),
                "PATH": "/usr/bin:/bin",
                **options,
            },
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    return run


def answer_of(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in this process: what it answers, without a start of Python."""
    told, said = io.StringIO(), io.StringIO()
    with redirect_stdout(told), redirect_stderr(said):
        try:
            status: object = main(arguments)
        except SystemExit as end:
            status = end.code
    assert isinstance(status, int)
    return subprocess.CompletedProcess(arguments, status, told.getvalue(), said.getvalue())


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """As `run`, but by `answer_of`."""
    monkeypatch.chdir(tmp_path)
    return answer_of


@pytest.fixture
def start_broker(tmp_path: Path) -> Iterator[Callable[[str], int]]:
    """Start mosquitto with further lines of configuration; returns its port."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        pytest.fail("mosquitto is not installed: deploy/check installs it")
    running: list[subprocess.Popen[bytes]] = []

    def start(lines: str) -> int:
        port = free_port()
        file = tmp_path / f"mosquitto-{port}.conf"
        file.write_text(f"listener {port} 127.0.0.1\nuser root\n{lines}\n")
        with (tmp_path / f"mosquitto-{port}.log").open("wb") as log:
            running.append(subprocess.Popen([program, "-c", str(file)], stdout=log, stderr=log))
        end = time.monotonic() + 10
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                return port
            except OSError:
                if time.monotonic() > end or running[-1].poll() is not None:
                    raise
                time.sleep(0.02)

    yield start
    for process in running:
        process.terminate()
        process.wait(10)


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str], Path]:
    """Write a configuration in the folder in which `run` runs."""

    def write(text: str) -> Path:
        path = tmp_path / "brinebell.toml"
        path.write_text(text + SERIES)
        return path

    return write
