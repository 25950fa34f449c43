"""The scripts look first for what the machine must have, and say the one line that mends it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
# Whatever begins like a script of a shell; what is sourced is followed from there.
SCRIPTS = sorted(
    str(path.relative_to(CHECKOUT))
    for folder in ("deploy", "tests/deploy", ".ci")
    for path in (CHECKOUT / folder).rglob("*")
    if path.is_file() and path.read_bytes()[:64].startswith((b"#!/usr/bin/env bash\n", b"#!/bin/sh\n"))
)
# What every Debian has: everything the script calls before it looks for what may be missing.
BASE = ("bash", "env", "dirname", "readlink")


@pytest.fixture(params=["deploy/demo", "deploy/check"])
def script(request: pytest.FixtureRequest) -> str:
    """A script that makes the virtual environment."""
    return str(CHECKOUT / request.param)


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    """The program folder of a bare machine."""
    for name in BASE:
        program = shutil.which(name)
        assert program is not None
        (tmp_path / name).symlink_to(program)
    return tmp_path


def _program(machine: Path, name: str, text: str) -> None:
    path = machine / name
    path.write_text(f"#!{machine / 'bash'}\n{text}\n")
    path.chmod(0o755)


def _run(machine: Path, script: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(machine / "bash"), script],
        env={"PATH": str(machine), **environment},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_a_32_bit_system_is_told_that_it_is_not_supported(machine: Path, script: str) -> None:
    _program(machine, "getconf", "echo 32")
    result = _run(machine, script)
    assert result.returncode == 1
    assert "32-bit system, which Brinebell does not support" in result.stderr
    assert "sudo apt" not in result.stderr


def test_a_bare_machine_is_told_one_line_that_mends_all_of_it(machine: Path, script: str) -> None:
    _program(machine, "getconf", "echo 64")
    result = _run(machine, script)
    assert result.returncode == 1
    assert "sudo apt update && sudo apt install python3 python3-venv git\n" in result.stderr


def test_missing_git_alone_is_told_alone(machine: Path, script: str) -> None:
    _program(machine, "getconf", "echo 64")
    _program(machine, "python3", f'exec {sys.executable} "$@"')
    result = _run(machine, script)
    assert result.returncode == 1
    assert "sudo apt install git\n" in result.stderr


def test_an_old_python_is_told_its_version_and_what_is_needed(machine: Path, script: str) -> None:
    _program(machine, "getconf", "echo 64")
    _program(machine, "git", "true")
    _program(machine, "python3", '[[ $1 == --version ]] && echo "Python 3.9.2"; exit 1')
    result = _run(machine, script)
    assert result.returncode == 1
    assert "needs Python 3.11, 3.12 or 3.13; here is Python 3.9.2" in result.stderr


def test_check_tells_which_tests_do_not_run_and_fails_in_ci_where_packages_cannot_be_had(
    machine: Path,
) -> None:
    """No apt-get on this machine, and not even mosquitto's clients."""
    _program(machine, "getconf", "echo 64")
    _program(machine, "git", "true")
    _program(machine, "id", "echo 1000")
    _program(machine, "sudo", "exit 1")
    _program(machine, "python3", f'exec {sys.executable} "$@"')
    result = _run(machine, str(CHECKOUT / "deploy" / "check"), CI="true")
    assert result.returncode == 1
    assert "  - the crash tests, which publish from outside (mosquitto_pub)\n" in result.stderr
    assert "  - the page in a browser (chromium)\n" in result.stderr
    assert "sudo apt update && sudo apt install" in result.stderr
    assert "In CI no test is left out." in result.stderr


def test_no_script_is_forgotten() -> None:
    assert {"deploy/demo", "deploy/check", "deploy/resolve", "deploy/install", ".ci/run"} < set(SCRIPTS)


@pytest.mark.parametrize("name", SCRIPTS)
def test_scripts_have_no_finding_of_the_shell_linter(name: str) -> None:
    linter = shutil.which("shellcheck")
    if linter is None:
        pytest.skip("skipped: no shellcheck (apt install shellcheck)")
    result = subprocess.run(
        [linter, "-x", name], cwd=CHECKOUT, capture_output=True, text=True, timeout=60, check=False
    )
    assert result.stdout == ""
    assert result.returncode == 0
