"""The unit of systemd: systemd's own tools find no fault in it, and nothing it could still be denied."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "deploy" / "systemd"
UNIT = FOLDER / "brinebell.service"
PROGRAM = "/opt/brinebell/program/bin/brinebell"
# systemd-analyze(1): from 0.0, most confined, to 10.0.
EXPOSURE = 2.0

pytestmark = pytest.mark.systemd


def analysed(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["systemd-analyze", "--no-pager", *words], capture_output=True, text=True, timeout=60, check=False
    )


def verified(folder: Path, text: str) -> str:
    """What `verify` says of a unit whose program is one of this machine."""
    program = shutil.which("true")
    assert program is not None
    assert text.count(PROGRAM) == 1
    path = folder / "brinebell.service"
    path.write_text(text.replace(PROGRAM, program))
    result = analysed("verify", str(path))
    return result.stdout + result.stderr


def test_verify_says_nothing(tmp_path: Path) -> None:
    assert verified(tmp_path, UNIT.read_text()) == ""


@pytest.mark.parametrize(
    ("line", "mistake"),
    [("RestartSec=5s", "RestartSeconds=5s"), ("WatchdogSec=2min", "WatchdogSec=2 moons")],
)
def test_verify_would_say_something(tmp_path: Path, line: str, mistake: str) -> None:
    assert verified(tmp_path, UNIT.read_text().replace(line, mistake)) != ""


def test_it_is_exposed_no_more_than_it_must_be() -> None:
    result = analysed("security", "--offline=true", str(UNIT))
    found = re.search(r"Overall exposure level for \S+: (\d+\.\d+)", result.stdout)
    assert found is not None, result.stdout + result.stderr
    assert float(found[1]) <= EXPOSURE


def test_what_it_takes_to_be_restarted_told_ready_and_reloaded_stands_in_it() -> None:
    lines = UNIT.read_text().splitlines()
    for line in (
        "Type=notify",
        "WatchdogSec=2min",
        "Restart=always",
        "StartLimitIntervalSec=0",
        "ExecReload=/bin/kill -HUP $MAINPID",
    ):
        assert line in lines


def test_keys_of_a_newer_systemd_stand_beside_it_and_not_in_it() -> None:
    """RestartSteps= and RestartMaxDelaySec= came with systemd 254 (systemd.service(5)); Debian 12 has 252."""
    newer = {"RestartSteps", "RestartMaxDelaySec"}
    assert not newer & set(re.findall(r"^(\w+)=", UNIT.read_text(), re.MULTILINE))
    assert set(re.findall(r"^(\w+)=", (FOLDER / "backoff.conf").read_text(), re.MULTILINE)) == newer
