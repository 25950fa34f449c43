"""The recordings that ship: what a replay finds in each is what their README says."""

from __future__ import annotations

import re
from importlib.resources import as_file, files
from pathlib import Path

import pytest

from collector.annotations import read_annotations
from collector.payloads import state_value
from collector.recordings import read_files
from collector.replay import Replay
from collector.settings import load_configuration
from collector.simulation.recordings import CASES
from collector.units import converter
from collector.wording.times import duration_text
from rules import score

_ROW = re.compile(r"\| `(\w+)` \| .* \| ([^|]+) \| ([^|]+) \|")


@pytest.fixture(scope="module")
def table() -> dict[str, tuple[str, str]]:
    text = (files("replay_data") / "README.md").read_text(encoding="utf-8")
    found = {row[1]: (row[2], row[3]) for row in map(_ROW.fullmatch, text.splitlines()) if row}
    return {name: row for name, row in found.items() if name in {case.name for case in CASES}}


def found_in(folder: Path, name: str) -> tuple[str, str]:
    """When it alarms, and by which name, as the table says it; nothing else may."""
    configuration = load_configuration(folder / "tank.toml", {})
    recording = read_files([folder / name], configuration, converter, state_value)
    assert recording.skipped == ()
    replayed = Replay(configuration).recording(recording)
    truth = read_annotations(folder / name / f"{name}.annotations.toml", configuration)
    outcome = score(truth, replayed.opened, replayed.incidents, replayed.first_us, replayed.last_us)
    assert outcome.false == ()
    if not outcome.found:
        return "-", "-"
    (found,) = outcome.found
    if found.first is None:
        return "missed", "-"
    return duration_text(found.delay_us), f"`{found.first.cause}`"


@pytest.mark.parametrize("name", [case.name for case in CASES])
def test_a_replay_finds_what_the_table_says(name, table):
    with as_file(files("replay_data")) as folder:
        assert found_in(Path(folder), name) == table[name]


def test_the_table_has_every_recording(table):
    assert list(table) == [case.name for case in CASES]
