"""`brinebell inject` from outside: a fault goes into a shipped week, and a replay finds it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

DATA = Path(__file__).parents[2] / "replay_data"
TANK = ("--config", str(DATA / "tank.toml"))


def brinebell(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "collector", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def test_what_was_put_in_is_found_again(tmp_path):
    made = brinebell(
        *(
            "inject",
            str(DATA / "quiet"),
            *TANK,
            "--cause",
            "leak",
            "--at",
            "2026-03-07T13:00Z",
            "--for",
            "8 h",
        ),
        *("--size", "3 L/h", "--litre-raises", "0.56 cm", "--out", str(tmp_path)),
    )
    assert made.returncode == 0, made.stderr
    recording, truth = made.stdout.split()
    assert "See what rings: brinebell replay" in made.stderr
    result = brinebell("replay", recording, *TANK, "--truth", truth, "--json")
    assert result.returncode == 0, result.stderr
    (found,) = json.loads(result.stdout)["score"]["annotated"]
    assert found["named_first"] == "leak"
    assert 0 < found["delay_s"] < 2 * 3600


def test_the_list_needs_nothing():
    result = brinebell("inject", "--list")
    assert result.returncode == 0
    assert "leak" in result.stdout
    assert "--size '2 L/h'" in result.stdout


def test_what_is_missing_is_told_with_an_example():
    result = brinebell("inject", str(DATA / "quiet"), *TANK)
    assert result.returncode == 2
    assert "say in which recording, which fault, and when: brinebell inject" in result.stderr
