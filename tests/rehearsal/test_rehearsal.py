"""A recorded night played into a real broker: the whole chain says what a replay of the same file says."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.broker import mosquitto

DATA = Path(__file__).parents[2] / "replay_data"
PYTHON = [sys.executable, "-m", "collector"]


def night(folder: Path) -> tuple[Path, Path]:
    """The night of a recorded heater failure, and the configuration of its tank."""
    head, *rows = (DATA / "heater_failed_off" / "heater_failed_off.csv").read_text().splitlines()
    recording = folder / "night.csv"
    kept = [row for row in rows if "2026-03-07T00" <= row[:13] <= "2026-03-07T07"]
    recording.write_text("\n".join([head, *kept]) + "\n")
    return recording, folder / "tank.toml"


@pytest.mark.broker
def test_what_rings_in_a_rehearsal_is_what_a_replay_says(tmp_path: Path):
    recording, config = night(tmp_path)
    with mosquitto(tmp_path / "broker") as broker:
        config.write_text(f"[mqtt]\nport = {broker.port}\n\n{(DATA / 'tank.toml').read_text()}")
        replay = [*PYTHON, "replay", str(recording), "--config", str(config)]
        expected = json.loads(subprocess.run([*replay, "--json"], capture_output=True, check=True).stdout)
        result = subprocess.run([*replay, "--speed", "1800"], capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stderr
    said = result.stdout.splitlines()
    (incident,) = expected["incidents"]
    assert f"{incident['priority']}  {incident['cause']}  reef/temperature" in said[-1]
    assert said[-1].startswith(incident["first_evidence"][:16])
    ring = said.index("  The phone rings:")
    assert said[ring + 1].startswith("  | Rehearsal: ")
    # How to answer it: the store is not the one of the real service.
    assert any(
        re.fullmatch(r"Answer +BRINEBELL_SERVICE__FOLDER=\S+ brinebell acknowledge .*", one) for one in said
    )
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["--ring"], 2, "--ring goes with --speed"),
        (["--speed", "0"], 2, "--speed 0: above 0"),
        (["--speed", "60", "--json"], 2, "--json goes with a replay"),
        (["--speed", "60"], 1, "the rehearsal reaches no broker at 127.0.0.1:1"),
    ],
)
def test_what_cannot_be_rehearsed_is_told(tmp_path: Path, arguments: list[str], status: int, says: str):
    recording, config = night(tmp_path)
    config.write_text(f"[mqtt]\nport = 1\n\n{(DATA / 'tank.toml').read_text()}")
    command = [*PYTHON, "replay", str(recording), "--config", str(config), *arguments]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    assert result.returncode == status
    assert says in result.stderr
    assert "Traceback" not in result.stderr
