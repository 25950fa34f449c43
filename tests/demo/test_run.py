"""The demo as a person starts it: a process of its own, on both brokers, to a recognised failure and out."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

# As slow as `deploy/demo` shows it, a run takes about a minute; tests run it twice as fast.
RATE = "240"
COMMAND = [sys.executable, "-m", "collector"]


def _demo(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*COMMAND, "demo", "--folder", str(folder), "--rate", RATE, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # A terminal of its own, so that a signal to it is a signal to it alone.
        start_new_session=True,
    )


def _read_until(demo: subprocess.Popen[str], pattern: str) -> str:
    """Lines up to and with the first that matches."""
    assert demo.stdout is not None
    lines = []
    for line in demo.stdout:
        lines.append(line)
        if re.search(pattern, line):
            return "".join(lines)
    demo.wait(10)
    assert demo.stderr is not None
    pytest.fail(f"no {pattern!r} in:\n{''.join(lines)}\n{demo.stderr.read()}")


def _processes_of_session(session: int) -> list[str]:
    """Command lines of what still runs in, or was started by, a session that has ended."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
                command = (entry / "cmdline").read_text()
            except (FileNotFoundError, ProcessLookupError):
                continue
            if int(fields[3]) == session:
                found.append(command)
    return found


def _processes_naming(text: str) -> list[str]:
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                command = (entry / "cmdline").read_text()
            except (FileNotFoundError, ProcessLookupError):
                continue
            if text in command:
                found.append(command)
    return found


@pytest.mark.timeout(150)
@pytest.mark.parametrize("broker", [pytest.param("mosquitto", marks=pytest.mark.broker), "amqtt"])
def test_failure_is_recognised_rings_and_is_in_the_list(broker: str, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    demo = _demo(folder, "--once", "--broker", broker)
    shown, errors = demo.communicate(timeout=140)
    assert demo.returncode == 0, shown + errors
    # No progress bar, no cursor trick and no log where there is no terminal.
    assert errors == ""
    assert "\x1b" not in shown
    assert "\r" not in shown
    # Readings arrived over the broker: the heater was at work, and then no more.
    assert re.search(r"^23:\d\d  water 25\.\d\d degC   heater 400 W", shown, re.MULTILINE)
    assert re.search(r"^00:[1-5]\d  water 2[45]\.\d\d degC   heater 0 W", shown, re.MULTILINE)
    assert re.search(r"Incident 1 in the list: heater_failed_off \(temperature\), urgent", shown)
    assert shown.count("The phone rings:") == 1
    # The demo says how long after the failure; the rules promise it while little heat is lost.
    minutes = re.search(r"recognised (\d+) minutes of tank time after it; the phone rang", shown)
    assert minutes is not None
    assert 20 <= int(minutes[1]) <= 120

    listed = subprocess.run(
        [*COMMAND, "incidents", "--json", "--config", str(folder / "demo.toml")],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    (incident,) = json.loads(listed.stdout)["incidents"]
    assert incident["cause"] == "heater_failed_off"
    assert incident["series"][0] == "reef/temperature"
    assert incident["priority"] == "urgent"
    assert "2026-03-21T00:20" < incident["alarmed_at"] < "2026-03-21T02:00"
    assert incident["ended_at"] is None
    assert _processes_naming(str(folder)) == []


@pytest.mark.broker
@pytest.mark.timeout(180)
def test_its_page_answers_and_each_signal_stops_it_cleanly_so_that_it_can_run_again_at_once(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "demo"
    # Ctrl-C is how a run with --once ends.
    for number in (signal.SIGTERM, signal.SIGHUP):
        demo = _demo(folder, "--broker", "mosquitto")
        address = _read_until(demo, "^Look at").split()[-1]
        _read_until(demo, r"^23:\d\d  water")
        assert _processes_naming(str(folder / "broker"))
        with urllib.request.urlopen(address, timeout=10) as answer:
            page = answer.read().decode()
        assert "Demo reef" in page
        os.kill(demo.pid, number)
        shown, errors = demo.communicate(timeout=60)
        assert demo.returncode == 0, shown + errors
        assert errors == ""
        assert "Stopped." in shown
        # Whoever closed the terminal reads no more.
        assert ("failure was not recognised" in shown) is (number is not signal.SIGHUP)
        assert _processes_naming(str(folder)) == []
        assert _processes_of_session(demo.pid) == []


@pytest.mark.broker
@pytest.mark.timeout(60)
def test_ctrl_c_while_history_is_made_stops_it_too(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    demo = _demo(folder, "--broker", "mosquitto")
    _read_until(demo, "usual here")
    os.kill(demo.pid, signal.SIGINT)
    shown, errors = demo.communicate(timeout=30)
    assert demo.returncode == 0, shown + errors
    assert errors == ""
    assert "Stopped." in shown
    assert _processes_naming(str(folder)) == []


@pytest.mark.broker
@pytest.mark.timeout(60)
def test_a_reader_that_has_seen_enough_ends_it_too(tmp_path: Path) -> None:
    demo = _demo(tmp_path / "demo", "--no-page", "--broker", "mosquitto")
    _read_until(demo, r"^23:\d\d  water")
    assert demo.stdout is not None
    assert demo.stderr is not None
    demo.stdout.close()
    assert demo.wait(timeout=40) == 0
    assert demo.stderr.read() == ""
    demo.stderr.close()
    assert _processes_naming(str(tmp_path / "demo")) == []


@pytest.mark.broker
@pytest.mark.timeout(60)
def test_a_failure_that_is_not_seen_in_time_is_status_1(tmp_path: Path) -> None:
    started = time.monotonic()
    demo = _demo(tmp_path / "demo", "--once", "--minutes", "0.05", "--no-page", "--broker", "mosquitto")
    shown, errors = demo.communicate(timeout=50)
    assert demo.returncode == 1, shown + errors
    assert "failure was not recognised" in shown
    assert time.monotonic() - started < 40


def test_a_folder_that_is_somebody_else_s_is_left_alone_with_one_line(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine")
    demo = _demo(tmp_path, "--once")
    _, errors = demo.communicate(timeout=50)
    assert demo.returncode == 2
    assert len(errors.splitlines()) == 1
    assert "is not empty and no demo made it" in errors
    assert (tmp_path / "letters.txt").read_text() == "mine"
