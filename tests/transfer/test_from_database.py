"""A store that was lost, filled again from what a real database has of it."""

from __future__ import annotations

import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.__main__ import main
from collector.configuration import Configuration
from collector.learning import fit, tasks_of
from collector.settings import load_configuration
from collector.store import Commit, Row, Store, StoreReader, Upkeep
from rules import HOUR_US, Flag, WeekProfile
from tests.broker import free_port
from tests.database.servers import Influx, influx
from tests.mirror.parts import mirror, state, until_all_sent
from tests.store.commits import SECOND, assert_rollups_match_readings, query
from tests.transfer.configured import SETTINGS
from tests.transfer.test_round_trip import KILLED, ROOT

pytestmark = pytest.mark.influxdb

DAY_US = 24 * HOUR_US
NOW_US = time.time_ns() // 1000
# The last hour was still on its way when the card died.
END_US = NOW_US // HOUR_US * HOUR_US - HOUR_US
BEGIN_US = END_US - 34 * DAY_US
READINGS = "SELECT tank, name, observed_us, value, flag_mark & 15 FROM readings JOIN series ON id = series"
ROLLUPS = (
    "SELECT tank, name, rollups.* FROM rollups JOIN series ON id = series ORDER BY 1, 2, 4",
    "SELECT tank, name, minutes.* FROM minutes JOIN series ON id = series ORDER BY 1, 2, 4",
)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influx]:
    with influx(tmp_path_factory.mktemp("influx")) as server:
        server.make("reef")
        yield server


def configured(folder: Path, server: Influx, keep: str = "forever") -> tuple[Configuration, Path]:
    folder.mkdir(exist_ok=True)
    path = folder / "brinebell.toml"
    table = f'[database]\naddress = "{server.address}"\napi = "v1"\nbucket = "reef"\n'
    path.write_text(f"{SETTINGS}\n{table}".replace("[service]", f'[service]\nkeep_readings = "{keep}"'))
    return load_configuration(path, {}), path


def rows(configuration: Configuration) -> list[Row]:
    """Five weeks of two series; some were not measured, some failed their tests."""
    chance, found = random.Random(1), []
    for name, mean, swing in (("temperature", 25.0, 0.4), ("ph", 8.1, 0.15)):
        index = configuration.series_index("reef", name)
        for at_us in range(BEGIN_US, END_US, 600 * SECOND):
            value = mean + swing * float(np.sin(2 * np.pi * at_us / DAY_US)) + chance.gauss(0, 0.02)
            flag = chance.choices([Flag.PASS, Flag.SUSPECT, Flag.FAIL, Flag.MISSING], [95, 2, 2, 1])[0]
            if flag is Flag.MISSING:
                value = float("nan")
            elif flag is Flag.FAIL:
                value += 9
            found.append((index, at_us + chance.randrange(SECOND), value, int(flag), 0, 50, 0, b""))
    return sorted(found, key=lambda row: row[1])


@pytest.fixture(scope="module")
def first(server: Influx, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store that is lost, which the database has followed."""
    configuration, _ = configured(tmp_path_factory.mktemp("first"), server)
    path, database = configuration.store.path, configuration.database
    with Store(path, synchronous="OFF") as store:
        store.register(configuration.series)
        for begin in range(0, len(some := rows(configuration)), 5000):
            store.commit(Commit(NOW_US, NOW_US, rows=some[begin : begin + 5000]))
        Upkeep(store).catch_up(NOW_US)
        with mirror(path, replace(database, interval_s=0.02)):
            until_all_sent(path, database)
    return path


def bring_back(settings: Path, *more: str) -> int:
    since = np.datetime64(BEGIN_US - DAY_US, "us")
    return main(["import", "--database", "--from", f"{since}Z", "--config", str(settings), *more])


def learned(configuration: Configuration, path: Path) -> list[object]:
    with StoreReader(path) as reader:
        ids = [reader.series_id(one.tank, one.name) for one in configuration.series]
        return [fit(reader, task, NOW_US) for task in tasks_of(configuration, ids).series]


def test_readings_and_what_is_learned_of_them_are_as_they_were(
    server: Influx, first: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    configuration, settings = configured(tmp_path / "second", server)
    path = configuration.store.path
    # Killed in the middle: the same command goes on.
    killed = KILLED.replace(
        '["import", sys.argv[2], "--config", sys.argv[3]]', '["import", "--database", *sys.argv[2:]]'
    )
    since = f"{np.datetime64(BEGIN_US - DAY_US, 'us')}Z"
    command = [sys.executable, "-c", killed, "20", "--from", since, "--config", str(settings)]
    assert subprocess.run(command, cwd=ROOT, check=False).returncode == -signal.SIGKILL
    assert 0 < len(query(path, READINGS)) < len(query(first, READINGS))
    assert bring_back(settings) == 0
    told = capsys.readouterr()
    assert "An earlier run had come to" in told.err
    assert "the database has nothing of reef/conductivity in that time" in told.err
    assert sorted(query(path, READINGS), key=str) == sorted(query(first, READINGS), key=str)
    assert [query(path, one) for one in ROLLUPS] == [query(first, one) for one in ROLLUPS]
    assert_rollups_match_readings(path)
    then, now = learned(configuration, first), learned(configuration, path)
    assert now == then
    assert sum(isinstance(one, WeekProfile) for one in now) == 2
    assert bring_back(settings) == 0
    count = len(query(first, READINGS))
    # What came from the database is not sent it.
    assert (state(path).target, state(path).waiting) == (configuration.database.identity, 0)
    assert f"The database: 0 readings are new, {count:,} were there already." in capsys.readouterr().out
    assert query(path, "SELECT count(*) FROM conflicts") == [(0,)]


def test_of_what_is_older_than_what_is_kept_there_are_minutes_and_quarter_hours(
    server: Influx, first: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    configuration, settings = configured(tmp_path / "short", server, "30 days")
    path = configuration.store.path
    # The service has run since, and the database follows it: it is not sent what it gives.
    with Store(path, synchronous="OFF") as store:
        store.register(configuration.series)
        store.commit(Commit(NOW_US, NOW_US, rows=[(0, NOW_US - 60 * SECOND, 25.0, 1, 0, 50, 0, b"")]))
        with mirror(path, replace(configuration.database, interval_s=0.02)):
            until_all_sent(path, configuration.database)
    assert bring_back(settings) == 0
    out = capsys.readouterr().out
    whole = [one for one in query(first, READINGS) if one[2] < NOW_US - 60 * SECOND]
    kept = [one for one in query(path, READINGS) if one[2] < NOW_US - 60 * SECOND]
    edge_us = min(at_us for _, _, at_us, _, _ in kept)
    assert 0 <= edge_us - (NOW_US - 30 * DAY_US) + HOUR_US // 4 < HOUR_US
    assert sorted(kept, key=str) == sorted((one for one in whole if one[2] >= edge_us), key=str)
    assert f"{len(whole) - len(kept):,} more are older than what service.keep_readings keeps" in out
    assert [query(path, one) for one in ROLLUPS] == [query(first, one) for one in ROLLUPS]
    assert state(path).waiting == 0
    # What retention does from here on begins where the import did.
    with Store(path, synchronous="OFF") as store:
        upkeep = Upkeep(store, 30 * DAY_US, is_mirrored=True)
        assert upkeep.let_go(NOW_US - 29 * DAY_US, 2 * DAY_US) == sum(
            one[2] < (NOW_US - 29 * DAY_US) // (HOUR_US // 4) * (HOUR_US // 4) for one in kept
        )
    assert [query(path, one) for one in ROLLUPS] == [query(first, one) for one in ROLLUPS]


def exported(settings: Path, target: Path) -> bytes:
    """The file, of the days that were mirrored."""
    since, until = (f"{np.datetime64(at_us, 'us')}Z" for at_us in (BEGIN_US, END_US))
    command = ["export", str(target), "--from", since, "--to", until, "--config", str(settings)]
    return target.read_bytes() if main(command) == 0 else b""


def test_an_export_holds_what_retention_has_let_go_or_says_that_it_does_not(
    server: Influx, first: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = exported(first.parents[1] / "brinebell.toml", tmp_path / "whole.csv")
    configuration, settings = configured(tmp_path / "let_go", server)
    path = configuration.store.path
    path.parent.mkdir()
    shutil.copy(first, path)
    with Store(path, synchronous="OFF") as store:
        while (
            Upkeep(store, 10 * DAY_US, is_mirrored=True).let_go(NOW_US - 10 * DAY_US, 5 * DAY_US) is not None
        ):
            pass
    assert len(query(path, READINGS)) < len(query(first, READINGS)) // 3
    assert exported(settings, tmp_path / "again.csv") == whole
    assert "lacks" not in capsys.readouterr().out

    text = settings.read_text()
    settings.write_text(text.replace(server.address, f"http://127.0.0.1:{free_port()}"))
    assert exported(settings, tmp_path / "away.csv") == b""
    assert "what the store has let go cannot be read: " in capsys.readouterr().err
    # Once it answers, the same command goes on.
    settings.write_text(text)
    assert exported(settings, tmp_path / "away.csv") == whole

    settings.write_text(text[: text.index("[database]")])
    short = exported(settings, tmp_path / "short.csv")
    assert 0 < len(short) < len(whole) // 3
    assert whole.endswith(short[len(short) // 2 :])
    assert re.search(
        r"Days of which it lacks readings: 2\d. Not every reading of this time", capsys.readouterr().out
    )


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "say what to import"),
        (("x.csv", "--database"), "give one of the two"),
        (("x.csv", "--from", "2026-03-01T00:00Z"), "--from and --to go with --database"),
        (("--database",), "--database needs --from"),
        (("--database", "--from", "2126-03-01T00:00Z"), "is not before the end"),
    ],
)
def test_an_import_that_cannot_be_says_what_is_missing(
    server: Influx,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    told: str,
) -> None:
    _, settings = configured(tmp_path, server)
    assert main(["import", *arguments, "--config", str(settings)]) != 0
    assert told in capsys.readouterr().err
