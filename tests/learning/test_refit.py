"""A fit in a real process of its own: what it answers, and every way in which it can come to nothing."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from collector.learning import Failed, Fits, Refit, Tasks, fit, fit_in_worker, next_refit_us, tasks_of
from collector.store import Commit, Store, StoreReader
from rules import HOUR_US, Flag, Learning, PoorFit, WeekProfile
from tests.wording.example import configuration

DAY_US = 24 * HOUR_US
NOW_US = 20_000 * DAY_US
CONFIGURATION = configuration()
TEMPERATURE, POWER = (CONFIGURATION.series_index("tank0", name) for name in ("temperature", "power"))


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[int]]:
    """Ten days of a temperature, two of a power."""
    path = tmp_path_factory.mktemp("store") / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store:
        ids = store.register(CONFIGURATION.series)
        rows = []
        for index, days in ((TEMPERATURE, 10), (POWER, 2)):
            for at in np.arange(NOW_US - days * DAY_US, NOW_US, HOUR_US // 4).tolist():
                value = 25.0 + 0.3 * np.sin(at / DAY_US * 2 * np.pi)
                rows.append((index, at, float(value), int(Flag.PASS), 0, 0, 0, b""))
        store.commit(Commit(NOW_US, NOW_US, rows=rows))
    return path, list(ids)


def test_the_process_answers_what_the_fit_gives_here(stored) -> None:
    path, ids = stored
    tasks = tasks_of(CONFIGURATION, ids)
    outcome = fit_in_worker(path, tasks, NOW_US)
    assert isinstance(outcome, Fits)
    assert outcome.fitted_us == NOW_US
    assert outcome.errors == {}
    with StoreReader(path) as reader:
        assert outcome.found == {task.series: fit(reader, task, NOW_US) for task in tasks.series}
    assert isinstance(outcome.found[TEMPERATURE], WeekProfile)
    assert outcome.found[POWER] == Learning(2)
    assert not any(isinstance(one, PoorFit) for one in outcome.found.values())


def test_a_store_that_is_not_there_is_named(tmp_path: Path) -> None:
    outcome = fit_in_worker(tmp_path / "none.sqlite", tasks_of(CONFIGURATION, range(100)), NOW_US)
    assert isinstance(outcome, Failed)
    assert "there is no store at" in outcome.reason


@pytest.mark.parametrize(
    ("program", "words"),
    [
        ("import sys; sys.stderr.write('first\\nno memory left\\n'); sys.exit(3)", "with 3: no memory left"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGKILL)", "with -9: nothing said"),
        ("print('no JSON')", "cannot be read"),
        ("print('{\"series\": 0}')", "cannot be read"),
        ('print(\'{"series": 0, "form": "week_profile", "data": {}}\')', "cannot be read"),
    ],
    ids=["it fails", "it is killed", "no JSON", "half an answer", "no profile"],
)
def test_a_process_that_comes_to_nothing_says_why(program, words, tmp_path: Path) -> None:
    refit = Refit(tmp_path, Tasks(), NOW_US, command=(sys.executable, "-c", program))
    outcome = refit.join()
    assert isinstance(outcome, Failed)
    assert words in outcome.reason


def test_a_process_that_hangs_is_ended(tmp_path: Path) -> None:
    refit = Refit(
        tmp_path,
        Tasks(),
        NOW_US,
        command=(sys.executable, "-c", "import time; time.sleep(60)"),
        timeout_s=0.3,
    )
    outcome = refit.join()
    assert outcome == Failed("it was not done after 0.3 s")
    with pytest.raises(ProcessLookupError):
        os.kill(refit.pid, 0)


def test_a_stop_of_the_service_ends_it_at_once(tmp_path: Path) -> None:
    refit = Refit(tmp_path, Tasks(), NOW_US, command=(sys.executable, "-c", "import time; time.sleep(60)"))
    refit.close()
    with pytest.raises(ProcessLookupError):
        os.kill(refit.pid, 0)


def test_the_service_loads_nothing_that_only_a_fit_needs() -> None:
    program = (
        "import sys, collector.service, collector.pages;"
        "print([one for one in ('pandas', 'statsmodels', 'scipy') if one in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def wall(zone: str, text: str, fold: int = 0) -> int:
    local = datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone), fold=fold)
    return round(local.timestamp()) * 1_000_000


@pytest.mark.parametrize(
    ("zone", "after", "found"),
    [
        ("UTC", "2026-11-05T03:29:59", "2026-11-05T03:30"),
        ("UTC", "2026-11-05T03:30:00", "2026-11-06T03:30"),
        ("UTC", "2026-11-05T03:30:01", "2026-11-06T03:30"),
        ("Europe/Berlin", "2026-03-28T12:00", "2026-03-29T03:30"),
        ("Europe/Berlin", "2026-10-24T12:00", "2026-10-25T03:30"),
        ("America/Chicago", "2026-03-07T12:00", "2026-03-08T03:30"),
        ("America/Chicago", "2026-10-31T12:00", "2026-11-01T03:30"),
        # From three o'clock the clock goes to four: there is no half past three.
        ("Europe/Helsinki", "2026-03-28T12:00", "2026-03-29T04:30"),
    ],
)
def test_it_is_half_past_three_on_the_wall_when_the_next_is_due(zone, after, found) -> None:
    assert next_refit_us(wall(zone, after), zone) == wall(zone, found)
