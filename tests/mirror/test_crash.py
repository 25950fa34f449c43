"""The mirror killed at each step around its cursor: the next one goes on, and nothing is lost or doubled."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.database.servers import Influx, influx
from tests.mirror.parts import mirror, opened, rows, state, store, stored, until_all_sent

pytestmark = pytest.mark.influxdb

BATCHES = 3
STEPS = [
    f"{kind} {number}"
    for number in range(1, BATCHES + 1)
    for kind in ("before send", "after send", "after settle")
]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influx]:
    with influx(tmp_path_factory.mktemp("influx")) as server:
        yield server


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("store") / "brinebell.sqlite"
    with opened(path) as journal:
        store(journal, rows(1250))
    return path


def test_the_steps_below_are_all_that_there_are(server: Influx, path: Path) -> None:
    passed: list[str] = []
    database = server.make("steps")
    with mirror(path, database, most=500, pass_step=passed.append):
        until_all_sent(path, database)
    numbered = [f"{kind} {1 + passed[:at].count(kind)}" for at, kind in enumerate(passed)]
    assert numbered == STEPS
    assert server.rows("steps") == stored(path)


# Of the first batch, before which there is no cursor, and of a later one.
@pytest.mark.parametrize("step", STEPS[:6])
def test_killed_at_a_step_it_goes_on_from_the_last_batch_that_was_settled(
    server: Influx, path: Path, step: str
) -> None:
    name = step.replace(" ", "_")
    database = server.make(name)
    command = [sys.executable, "-m", "tests.mirror.mirror_process", str(path), server.address, name, step]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    batch, settled = int(step[-1]), step.startswith("after settle")
    assert state(path).waiting == 1250 - 500 * (batch if settled else batch - 1)
    assert len(server.rows(name)) == 500 * (batch - 1 if step.startswith("before") else batch)
    passed: list[str] = []
    with mirror(path, database, most=500, pass_step=passed.append):
        until_all_sent(path, database)
    assert passed.count("after send") == BATCHES - batch + (not settled)
    assert server.rows(name) == stored(path)
