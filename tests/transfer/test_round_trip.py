"""Out of one store and into another: the same readings, once, whatever form the file has."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from dataclasses import replace
from math import isfinite
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.__main__ import main
from collector.errors import BrinebellError, StoreError
from collector.payloads import state_value
from collector.recordings import Form
from collector.store import Commit, Store, StoreReader, Upkeep
from collector.transfer import Account, Asked, export, import_file
from collector.units import converter
from rules import HOUR_US, Flag
from tests.store.commits import assert_rollups_match_readings, query
from tests.transfer.configured import configuration_in

START_US = 1_764_000_000_000_000
NOW_US = START_US + 400 * 24 * HOUR_US
ROOT = Path(__file__).parents[2]
READINGS = (
    "SELECT tank || '/' || name, observed_us, value FROM readings JOIN series ON id = series ORDER BY 1, 2"
)
CONFIGURATION = configuration_in(Path(tempfile.mkdtemp(prefix="brinebell-transfer-")))
ALL = Asked()
ENDINGS = (".csv", ".csv.gz", ".lp", ".lp.gz", ".parquet")

values = st.floats(allow_nan=False, allow_infinity=False, width=64) | st.sampled_from([0.0, 1.0, 25.1, 1e-9])
readings = st.dictionaries(
    st.tuples(st.integers(0, 5), st.integers(0, 300 * 24 * HOUR_US)),
    values | st.just(float("nan")),
    min_size=1,
)


def put(path: Path, given: dict[tuple[int, int], float]) -> None:
    with Store(path, synchronous="OFF") as store:
        store.register(CONFIGURATION.series)
        rows = [
            (series, START_US + after_us, value, 1, 0, 50, 0, b"")
            for (series, after_us), value in given.items()
        ]
        store.commit(Commit(NOW_US, NOW_US, rows=rows))


def take(path: Path, file: Path, now_us: int = NOW_US) -> Account:
    with Store(path, synchronous="OFF") as store:
        store.register(CONFIGURATION.series)
        recording, account = import_file(store, file, CONFIGURATION, converter, state_value, Form(), now_us)
        assert recording.skipped == ()
        return account


def write(path: Path, file: Path, asked: Asked = ALL) -> int:
    with StoreReader(path) as reader:
        return export(reader, file, asked).count


@settings(max_examples=20, deadline=None)
@given(readings, st.sampled_from(ENDINGS))
def test_what_is_exported_and_imported_is_the_same(given: dict[tuple[int, int], float], ending: str) -> None:
    finite = {key: value for key, value in given.items() if isfinite(value)}
    with tempfile.TemporaryDirectory() as folder:
        first, second, file = Path(folder, "a.sqlite"), Path(folder, "b.sqlite"), Path(folder, f"x{ending}")
        put(first, given)
        if not finite:
            with pytest.raises(BrinebellError, match="no readings of these series"):
                write(first, file)
            assert not file.exists()
            return
        assert write(first, file) == len(finite)
        assert take(second, file) == Account(new=len(finite))
        assert query(second, READINGS) == [one for one in query(first, READINGS) if one[2] is not None]
        # Once more: everything is there.
        before = [query(second, f"SELECT * FROM {table}") for table in ("readings", "conflicts")]
        assert take(second, file) == Account(known=len(finite))
        assert take(first, file) == Account(known=len(finite))
        assert [query(second, f"SELECT * FROM {table}") for table in ("readings", "conflicts")] == before


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    return tmp_path / "store.sqlite"


def week(path: Path) -> dict[tuple[int, int], float]:
    given = {(at % 3 // 2, at * 30_000_000): 25 + at % 97 / 10 for at in range(2 * 60 * 24 * 7)}
    put(path, given)
    return given


def test_a_span_and_a_series_are_exported_alone(store_path: Path, tmp_path: Path) -> None:
    given = week(store_path)
    from_us, to_us = START_US + 24 * HOUR_US, START_US + 50 * HOUR_US
    file = tmp_path / "two days.csv"
    count = write(store_path, file, Asked(["reef/temperature"], from_us, to_us))
    assert count == sum(series == 0 and from_us <= START_US + after_us < to_us for series, after_us in given)
    lines = file.read_text().splitlines()
    assert lines[0] == "time,series,value,unit"
    assert lines[1] == "2025-11-25T16:00:00.000000Z,reef/temperature,31.7,degC"
    with pytest.raises(BrinebellError, match=r"exists, and nothing is overwritten"):
        write(store_path, file)
    with pytest.raises(BrinebellError, match="no series 'sump': it has quarantine/temperature, reef/"):
        write(store_path, tmp_path / "x.csv", Asked(["sump"]))
    with pytest.raises(BrinebellError, match="it must end in"):
        write(store_path, tmp_path / "x.xlsx")
    assert [one.name for one in tmp_path.iterdir() if one.suffix == ".part"] == []


def test_another_value_is_kept_as_a_conflict_and_the_first_one_stays(
    store_path: Path, tmp_path: Path
) -> None:
    put(store_path, {(0, 0): 25.0, (0, 60_000_000): 25.5})
    file = tmp_path / "old.csv"
    file.write_text(
        "time,reef/temperature [degC]\n1764000000,26\n1764000060,25.5\n1764000120,24\n978300000,24\n"
        "1864000000,24\n900000000,24\n"
    )
    assert take(store_path, file) == Account(new=2, known=1, conflicts=1, no_time=2)
    assert query(store_path, "SELECT value, payload FROM conflicts") == [(26.0, b"imported from old.csv")]
    assert take(store_path, file) == Account(known=4, no_time=2)


def test_imported_history_is_charted_and_never_given_to_the_engine(store_path: Path, tmp_path: Path) -> None:
    first, file = tmp_path / "first.sqlite", tmp_path / "week.parquet"
    week(first)
    write(first, file)
    put(store_path, {(0, 8 * 24 * HOUR_US): 25.0})
    take(store_path, file)
    with Store(store_path) as store:
        Upkeep(store).catch_up(NOW_US)
    assert_rollups_match_readings(store_path)
    with StoreReader(store_path) as reader:
        ids = [reader.series_id(one.tank, one.name) for one in CONFIGURATION.series]
        assert sum(len(one.block) for one in reader.recorded_blocks(ids, 0)) == 1
        assert reader.buckets(ids[0], START_US, START_US + 9 * 24 * HOUR_US, 100).counts.sum() > 10_000
        assert set(reader.readings(ids[1], 0, NOW_US).flags.tolist()) == {Flag.NOT_EVALUATED}


def test_what_is_older_than_what_is_kept_is_told_and_left_out(store_path: Path, tmp_path: Path) -> None:
    week(store_path)
    file = tmp_path / "week.csv"
    count = write(store_path, file)
    with Store(store_path) as store:
        upkeep = Upkeep(store)
        upkeep.catch_up(NOW_US)
        while upkeep.let_go(START_US + 72 * HOUR_US, 24 * HOUR_US) is not None:
            pass
    before = [query(store_path, f"SELECT * FROM {table}") for table in ("readings", "minutes", "rollups")]
    account = take(store_path, file)
    assert account == Account(known=count - 72 * 120, older=72 * 120)
    assert [
        query(store_path, f"SELECT * FROM {table}") for table in ("readings", "minutes", "rollups")
    ] == before


def test_a_clock_that_is_years_ahead_lets_nothing_go_but_what_is_in_the_file(
    store_path: Path, tmp_path: Path
) -> None:
    first, file = tmp_path / "first.sqlite", tmp_path / "week.csv"
    count = len(week(first))
    write(first, file)
    short = replace(CONFIGURATION, store=replace(CONFIGURATION.store, keep_us=30 * 24 * HOUR_US))
    with Store(store_path, synchronous="OFF") as store:
        store.register(CONFIGURATION.series)
        ahead_us = NOW_US + 3000 * 24 * HOUR_US
        _, account = import_file(store, file, short, converter, state_value, Form(), ahead_us)
        assert account == Account(older=count)
        # With the right time what comes is rolled up, and stands beside what was imported.
        put_us = START_US + 8 * 24 * HOUR_US
        store.commit(Commit(put_us, put_us, rows=[(0, put_us, 25.0, 1, 0, 50, 0, b"")]))
        Upkeep(store).catch_up(put_us + HOUR_US)
    assert_rollups_match_readings(store_path)
    found = query(store_path, "SELECT sum(count), max(slot_us) FROM rollups")
    assert found == [(count + 1, put_us - put_us % (HOUR_US // 4))]


def test_killed_in_the_middle_it_goes_on_with_the_same_result(tmp_path: Path) -> None:
    """The command itself, killed before its third commit, then left alone."""
    first, file = tmp_path / "first.sqlite", tmp_path / "week.csv.gz"
    week(first)
    write(first, file)
    configuration = configuration_in(tmp_path)
    path, settings_file = configuration.store.path, tmp_path / "brinebell.toml"
    command = [sys.executable, "-c", KILLED, "2", str(file), str(settings_file)]
    assert subprocess.run(command, cwd=ROOT, check=False).returncode == -signal.SIGKILL
    assert query(path, "SELECT count(*) FROM readings") == [(10_000,)]
    assert main(["import", str(file), "--config", str(settings_file)]) == 0
    assert query(path, READINGS) == query(first, READINGS)
    assert query(path, "SELECT count(*) FROM conflicts") == [(0,)]
    assert query(path, "SELECT count(*) FROM commits") == [(5,)]
    assert_rollups_match_readings(path)
    target = tmp_path / "out.lp"
    assert main(["export", str(target), "--config", str(settings_file), "--series", "reef/ph"]) == 0
    assert target.read_text().startswith("reading,series=ph,tank=reef,unit=pH value=25.2 176400006")


KILLED = """
import os, signal, sys
from collector.__main__ import main
from collector.store import Store
commit, left = Store.commit, int(sys.argv[1])
def count(store, batch):
    global left
    left -= 1
    if left < 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return commit(store, batch)
Store.commit = count
main(["import", sys.argv[2], "--config", sys.argv[3]])
"""


def test_a_running_service_keeps_its_store_to_itself(store_path: Path, tmp_path: Path) -> None:
    configuration = configuration_in(tmp_path)
    file = tmp_path / "x.csv"
    file.write_text("time,reef/ph [pH]\n1764000000,8.1\n")
    with Store(configuration.store.path):
        child = os.fork()
        if child == 0:
            os._exit(main(["import", str(file), "--config", str(tmp_path / "brinebell.toml")]))
        _, status = os.waitpid(child, 0)
    assert os.WEXITSTATUS(status) == 1
    with pytest.raises(StoreError):
        StoreReader(tmp_path / "nothing.sqlite")
