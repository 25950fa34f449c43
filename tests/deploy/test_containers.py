"""The container files: two linters, and the properties that matter; they are built by no test."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from collector.configuration import PageConfiguration

FOLDER = Path(__file__).resolve().parents[2] / "deploy" / "containers"
BUILD, COMPOSE = FOLDER / "Containerfile", FOLDER / "compose.yaml"
PROGRAMS = Path(sys.executable).parent
SERVICES: dict[str, dict[str, Any]] = yaml.safe_load(COMPOSE.read_text())["services"]


def linted(*words: str) -> subprocess.CompletedProcess[str]:
    program, *rest = words
    return subprocess.run(
        [str(PROGRAMS / program), *rest], capture_output=True, text=True, timeout=60, check=False, cwd=FOLDER
    )


def test_the_linter_of_container_files_finds_nothing(tmp_path: Path) -> None:
    result = linted("hadolint", str(BUILD))
    assert (result.returncode, result.stdout) == (0, "")
    worse = tmp_path / "Containerfile"
    worse.write_text(BUILD.read_text().replace("python:3.13-slim-bookworm", "python"))
    assert linted("hadolint", str(worse)).returncode != 0


def test_the_linter_of_compose_files_finds_nothing_that_has_no_reason(tmp_path: Path) -> None:
    rules = Path(__file__).with_name("compose_lint.yaml")
    options = ("check", "--config", str(rules), "--strict-config", "--fail-on", "low", "--format", "json")
    result = linted("compose-lint", *options, str(COMPOSE))
    assert result.returncode == 0, result.stdout + result.stderr
    assert json.loads(result.stdout)
    worse = tmp_path / "compose.yaml"
    worse.write_text(COMPOSE.read_text().replace("read_only: true", "privileged: true"))
    assert linted("compose-lint", *options, str(worse)).returncode != 0


@pytest.mark.parametrize("name", SERVICES)
def test_each_is_read_only_without_rights_and_watched(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert "no-new-privileges:true" in service["security_opt"]
    assert int(service["user"].split(":")[0]) > 0
    assert service["restart"] == "unless-stopped"
    # A tag of its own, and a health check here or in the file it is built of.
    assert re.search(r":\d+\.\d+", service["image"])
    assert "healthcheck" in service or (name == "service" and "\nHEALTHCHECK " in BUILD.read_text())


def test_the_service_runs_as_nobody_who_may_write_its_program() -> None:
    text = BUILD.read_text()
    users = re.findall(r"^USER (.+)$", text, re.MULTILINE)
    assert users == [SERVICES["service"]["user"]]
    # The program was copied by root before, and what runs is the last stage.
    assert text.index("COPY --from=build /opt/brinebell") < text.index("USER ")
    assert "--chown" not in text
    assert f"127.0.0.1:{PageConfiguration().port}/" in text


def test_what_is_copied_into_it_is_there() -> None:
    for line in re.findall(r"^COPY (?!--from)(.+)$", BUILD.read_text(), re.MULTILINE):
        for name in line.split()[:-1]:
            assert (FOLDER.parents[1] / name).exists(), name
