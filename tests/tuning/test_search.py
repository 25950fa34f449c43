"""A search by the engine itself on shipped weeks, from outside."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

DATA = Path(__file__).parents[2] / "replay_data"
LOW = "tanks.reef.series.temperature.alarm_low"


def tune(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "collector", "tune", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=250, check=False)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return Path(shutil.copy(DATA / "tank.toml", tmp_path / "tank.toml"))


def test_a_limit_near_the_usual_is_earlier_and_one_within_it_rings_for_nothing(config):
    """The heater of the week holds 25.35 to 25.65 degC: below lies its failure, within lies nothing."""
    weeks = (str(DATA / "heater_failed_off"), str(DATA / "quiet"))
    result = tune(*weeks, "--config", str(config), "--try", f"{LOW}=24 degC, 25.3 degC, 25.6 degC", "--json")
    assert result.returncode == 0, result.stderr
    found = json.loads(result.stdout)
    by_values = {tuple(one["values"] or ()): one for one in found["trade_off"]}
    assert found["best"]["values"] == ["25.3 degC"]
    assert found["best"]["false"] == 0
    assert found["best"]["delay_h"] < found["before"]["delay_h"]
    assert all(one["false"] > 0 for values, one in by_values.items() if values == ("25.6 degC",))
    assert found["held_out"] is None


def test_the_best_is_written_and_the_old_file_kept(config):
    before = config.read_text()
    week = str(DATA / "heater_failed_off")
    result = tune(
        week, "--config", str(config), "--try", f"{LOW}=24 degC, 25.3 degC", "--apply", "--workers", "1"
    )
    assert result.returncode == 0, result.stderr
    assert config.read_text() == before.replace('alarm_low = "24 degC"', 'alarm_low = "25.3 degC"')
    (kept,) = config.parent.glob("tank.toml.before-*")
    assert kept.read_text() == before
    assert f"To go back: mv {kept} {config}" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--try", f"{LOW}=24 degC, 26 cm"), "--try tanks.reef.series.temperature.alarm_low=26 cm"),
        (("--try", "tanks.reef.series.temperature.alarm_lo=24 degC, 25 degC"), "alarm_lo: unknown key"),
        (("--try", f"{LOW}=24 degC"), "names no two values"),
        (("--try", f"{LOW}=24 degC, 25 degC", "--weights", "delay=many"), "--weights"),
    ],
)
def test_what_cannot_be_tried_is_named_before_anything_is(config, arguments, says):
    result = tune(str(DATA / "quiet"), "--config", str(config), *arguments)
    assert result.returncode == 2
    assert says in result.stderr
    assert "Traceback" not in result.stderr


def test_a_recording_without_truth_is_told(config, tmp_path):
    result = tune(
        str(DATA / "leak" / "leak.csv"), "--config", str(config), "--try", f"{LOW}=24 degC, 25 degC"
    )
    assert result.returncode == 2
    assert "there is no annotation file" in result.stderr
