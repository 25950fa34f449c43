"""An export that is broken off goes on, and ends in the same bytes as one at a stretch."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from collections.abc import Callable
from itertools import count
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from collector.__main__ import main
from collector.errors import BrinebellError
from collector.store import Commit, Store, StoreReader, Upkeep
from collector.transfer import Asked, Exported, export
from rules import HOUR_US
from tests.transfer.configured import configuration_in

DAY_US = 24 * HOUR_US
# Midnight of UTC, as days of a file are cut.
START_US = 20_400 * DAY_US
NOW_US = START_US + 40 * DAY_US
ENDINGS = (".csv", ".csv.gz", ".lp", ".lp.gz", ".parquet")
ROOT = Path(__file__).parents[2]
FROM_US, TO_US = START_US + 5 * HOUR_US, START_US + 8 * DAY_US
WEEK = Asked(from_us=FROM_US, to_us=TO_US)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Nine days of two series, without the fourth."""
    path = configuration_in(tmp_path).store.path
    put(path, [(at % 2, START_US + at * 300_000_000) for at in range(9 * 288) if at // 288 != 3])
    return path


def put(path: Path, keys: list[tuple[int, int]]) -> None:
    with Store(path, synchronous="OFF") as store:
        store.register(configuration_in(path.parent.parent).series)
        rows = [
            (series, at_us, 25 + at_us // 1_000_000 % 97 / 10, 1, 0, 50, 0, b"") for series, at_us in keys
        ]
        store.commit(Commit(NOW_US, NOW_US, rows=rows))


def write(path: Path, file: Path, asked: Asked = WEEK) -> Exported:
    with StoreReader(path) as reader:
        return export(reader, file, asked)


def in_a_child(work: Callable[[], object]) -> int:
    """How a process of its own ended that did the work: its exit status, or minus the signal."""
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def killed_after(calls: int, path: Path, file: Path) -> bool:
    """Export in a process that is killed at one of its calls of a function; whether it came to that."""

    def work() -> None:
        numbers = count()

        def look(*_: object) -> None:
            if next(numbers) == calls:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.setprofile(look)
        write(path, file)

    return in_a_child(work) == -signal.SIGKILL


@pytest.mark.parametrize("ending", ENDINGS)
def test_killed_anywhere_it_goes_on_and_the_file_is_the_same(path: Path, tmp_path: Path, ending: str) -> None:
    whole, file = tmp_path / f"whole{ending}", tmp_path / f"file{ending}"
    assert write(path, whole) == Exported(count := 7 * 288 - 60, 0, 0, TO_US)
    # So many calls it takes, about: each piece of an export has its share of the kills.
    most = {".csv": 21_000, ".csv.gz": 21_000, ".parquet": 5_300}.get(ending, 9_200)
    for _ in range(3):
        kills = 0
        while not file.exists() and kills < 3:
            kills += killed_after(random.randrange(most), path, file)
        if not file.exists():
            done = write(path, file)
            assert (done.count, done.cut_off, done.to_us) == (count, 0, TO_US)
        assert file.read_bytes() == whole.read_bytes()
        file.unlink()
        # A kill behind the last step but one may leave what was needed until then.
        assert not list(tmp_path.glob("file*.made"))


@pytest.fixture
def half(path: Path, tmp_path: Path) -> Path:
    """A file of which some days are written, as a kill leaves them."""
    file = tmp_path / "file.csv.gz"
    days = tmp_path / "file.csv.gz.part.days"
    calls = 3_000
    while not days.exists() or len(days.read_bytes().splitlines()) < 4:
        assert killed_after(calls, path, file)
        calls += 1_000
    return file


DAMAGES: dict[str, Callable[[Path, Path], object]] = {
    "lost bytes": lambda part, _: os.truncate(part, part.stat().st_size - 100),
    "another byte": lambda part, _: part.write_bytes(
        part.read_bytes()[:-50] + b"?" + part.read_bytes()[-49:]
    ),
    "no part": lambda part, _: part.unlink(),
    "more in the part": lambda part, _: part.write_bytes(part.read_bytes() + b"half a day"),
    "half a line": lambda _, note: os.truncate(note, note.stat().st_size - 3),
    "zeros": lambda _, note: note.write_bytes(note.read_bytes() + bytes(512)),
    "another head": lambda part, _: part.write_bytes(b"?" + part.read_bytes()[1:]),
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_what_a_power_cut_tore_is_written_anew(path: Path, half: Path, damage: str) -> None:
    DAMAGES[damage](half.with_name(f"{half.name}.part"), half.with_name(f"{half.name}.part.days"))
    write(path, half)
    whole = half.with_name("whole.csv.gz")
    write(path, whole)
    assert half.read_bytes() == whole.read_bytes()


def test_readings_that_came_late_are_in_it_and_let_go_ones_stay(path: Path, half: Path) -> None:
    put(path, [(0, FROM_US + 1), (1, START_US + 26 * HOUR_US + 1)])
    done = write(path, half)
    assert done.cut_off >= 3
    assert done.before == 0
    whole = half.with_name("whole.csv.gz")
    assert write(path, whole).count == done.count
    assert half.read_bytes() == whole.read_bytes()


def test_readings_let_go_of_meanwhile_stay_in_the_file(path: Path, half: Path, tmp_path: Path) -> None:
    whole = tmp_path / "whole.csv.gz"
    write(path, whole)
    with Store(path) as store:
        upkeep = Upkeep(store)
        upkeep.catch_up(NOW_US)
        while upkeep.let_go(START_US + DAY_US, DAY_US) is not None:
            pass
    assert write(path, half).cut_off == 0
    assert half.read_bytes() == whole.read_bytes()


def test_an_end_that_nobody_named_is_where_the_record_ended_at_first(path: Path, tmp_path: Path) -> None:
    whole, file = tmp_path / "whole.lp", tmp_path / "file.lp"
    write(path, whole, Asked())
    with StoreReader(path) as reader:

        def tell(share: float) -> None:
            if share > 0.5:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            export(reader, file, Asked(), tell)
    put(path, [(0, NOW_US)])
    done = write(path, file, Asked())
    assert 0 < done.before < done.count
    assert file.read_bytes() == whole.read_bytes()


def test_another_export_does_not_go_on_with_it(path: Path, half: Path, tmp_path: Path) -> None:
    part = half.with_name(f"{half.name}.part")
    before = part.read_bytes()
    with pytest.raises(BrinebellError, match=r"file\.csv\.gz\.part was begun for other series, another time"):
        write(path, half, Asked(["ph"], FROM_US, TO_US))
    with pytest.raises(BrinebellError, match="another time"):
        write(path, half, Asked(from_us=FROM_US))
    assert part.read_bytes() == before
    foreign = tmp_path / "mine.csv.part"
    foreign.write_text("mine")
    with pytest.raises(BrinebellError, match=r"mine\.csv\.part is in the way"):
        write(path, tmp_path / "mine.csv")
    assert foreign.read_text() == "mine"
    assert not foreign.with_name("mine.csv.part.days").exists()


def test_two_at_once_do_not_write_the_same_file(path: Path, tmp_path: Path) -> None:
    file = tmp_path / "file.csv"
    statuses: list[int] = []

    def second() -> None:
        with pytest.raises(BrinebellError, match=r"is being written by another `brinebell export`"):
            write(path, file)
        os._exit(7)

    with StoreReader(path) as reader:
        export(reader, file, Asked(), lambda _: statuses or statuses.append(in_a_child(second)))
    assert statuses == [7]


TWICE = """
import os, shutil, subprocess, sys
from collector.__main__ import main
disk, settings, kept = sys.argv[1:]
for options in ("size=64k", "remount,size=1m"):
    subprocess.run(["mount", "-t", "tmpfs", "-o", options, "none", disk], check=True)
    main(["export", f"{disk}/file.csv", "--config", settings])
    print(*sorted(os.listdir(disk)), flush=True)
shutil.copy(f"{disk}/file.csv", kept)
"""


def test_a_full_disk_leaves_what_is_there_and_the_command_tells_how_it_went_on(
    path: Path, tmp_path: Path
) -> None:
    """On a small filesystem of its own, as the kernel says it is full."""
    disk, settings = tmp_path / "disk", tmp_path / "brinebell.toml"
    disk.mkdir()
    ran = subprocess.run(
        ["unshare", "--map-root-user", "--mount", sys.executable, "-c", TWICE, disk, settings, tmp_path],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert ran.stderr == (
        f"brinebell: {disk}/file.csv cannot be written: No space left on device. What is there stays: "
        "once that is mended, the same command goes on\n"
    )
    assert ran.stdout.startswith(
        f"file.csv.part file.csv.part.days\n{disk}/file.csv holds 2,304 readings, in canonical units.\n"
    )
    assert "of them were there from an export that was broken off; the file ends at 2025-" in ran.stdout
    assert ran.stdout.endswith(", as was settled when it was begun.\nfile.csv\n")
    whole = tmp_path / "whole.csv"
    assert main(["export", str(whole), "--config", str(settings)]) == 0
    assert (tmp_path / "file.csv").read_bytes() == whole.read_bytes()


def test_a_parquet_file_is_one_table(path: Path, tmp_path: Path) -> None:
    write(path, tmp_path / "x.parquet")
    table = pq.read_table(tmp_path / "x.parquet")
    assert table.column_names == ["time", "series", "value", "unit"]
    assert table.num_rows == 7 * 288 - 60
