"""Killed before every step of rollup, retention, backup and restore: nothing half done, and it can go on."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    ("scenario", "least"), [("roll_up", 20), ("let_go", 25), ("backup", 15), ("restore", 30)]
)
def test_a_kill_before_each_step_leaves_the_store_whole(tmp_path: Path, scenario: str, least: int) -> None:
    child = subprocess.run(
        [sys.executable, "-m", "tests.store.killed_steps", scenario, str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=200,
    )
    assert child.returncode == 0, child.stderr
    assert int(child.stdout) >= least
