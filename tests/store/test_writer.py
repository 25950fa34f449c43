"""What a commit keeps: keys and redelivery, conflicts, revisions, states; and what a failed one leaves."""

from __future__ import annotations

import itertools
import subprocess
import sys
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from collector.configuration import SeriesConfiguration
from collector.errors import ConfigError, StoreError
from collector.readings import Mark
from collector.store import (
    Arrival,
    BoardState,
    Commit,
    Committed,
    Conflict,
    NewMessage,
    RejectedSource,
    Rejection,
    Row,
    Store,
    StoreReader,
)
from collector.store.conflicts import KEPT
from collector.store.connection import connect
from rules import Flag, FlagRevised, Priority
from tests.store.commits import (
    SECOND,
    SERIES,
    START_US,
    assert_rollups_match_readings,
    of,
    query,
    roll_up,
    row,
)

NAN = float("nan")

# First commit, second commit -> what the second one says, and what is stored of the key in the end.
REDELIVERY = [
    ("same key and value", [row(0, 0, 25.0)], [row(0, 0, 25.0)], (0, 1, 0), [25.0], []),
    ("same key, other value", [row(0, 0, 25.0)], [row(0, 0, 25.1)], (0, 0, 1), [25.0], [25.1]),
    ("value, then not measured", [row(0, 0, 25.0)], [row(0, 0, NAN)], (0, 0, 1), [25.0], [None]),
    ("not measured, then value", [row(0, 0, NAN)], [row(0, 0, 25.0)], (0, 0, 1), [None], [25.0]),
    ("not measured twice", [row(0, 0, NAN)], [row(0, 0, NAN)], (0, 1, 0), [None], []),
    (
        "other delay, flag",
        [row(0, 0, 25.0)],
        [row(0, 0, 25.0, delay_ms=9, flag=Flag.FAIL)],
        (0, 1, 0),
        [25.0],
        [],
    ),
    ("one microsecond later", [row(0, 0, 25.0)], [row(0, 1e-6, 25.0)], (1, 0, 0), [25.0], []),
    ("another series", [row(0, 0, 25.0)], [row(2, 0, 25.0)], (1, 0, 0), [25.0], []),
    ("twice in one commit", [], [row(0, 0, 25.0), row(0, 0, 25.0)], (1, 1, 0), [25.0], []),
    ("two values in one commit", [], [row(0, 0, 25.0), row(0, 0, 26.0)], (1, 0, 1), [25.0], [26.0]),
    ("conflict repeated", [row(0, 0, 25.0), row(0, 0, 26.0)], [row(0, 0, 26.0)], (0, 1, 0), [25.0], [26.0]),
    ("two conflicts", [row(0, 0, 1.0)], [row(0, 0, 3.0), row(0, 0, 2.0)], (0, 0, 2), [1.0], [3.0, 2.0]),
    (
        "new among old",
        [row(0, 0, 1.0)],
        [row(0, 0, 1.0), row(0, 9, 2.0), row(0, 5, 3.0)],
        (2, 1, 0),
        [1.0],
        [],
    ),
    ("infinite twice", [row(0, 0, float("inf"))], [row(0, 0, float("inf"))], (0, 1, 0), [float("inf")], []),
]


@pytest.mark.parametrize(
    ("first", "second", "counts", "kept", "conflicting"),
    [case[1:] for case in REDELIVERY],
    ids=[case[0] for case in REDELIVERY],
)
def test_redelivery(
    store: Store,
    reader: StoreReader,
    path: Path,
    first: list[Row],
    second: list[Row],
    counts: tuple[int, int, int],
    kept: list[float | None],
    conflicting: list[float | None],
) -> None:
    store.commit(of(*first))
    assert store.commit(of(*second)) == Committed(2, *counts)
    key = (1, START_US)
    assert query(path, "SELECT value FROM readings WHERE series = ? AND observed_us = ?", key) == [
        (value,) for value in kept
    ]
    assert [one.value for one in reversed(reader.conflicts())] == conflicting
    assert reader.conflict_count == len(conflicting)
    assert_rollups_match_readings(path)


def test_conflict_keeps_raw_payload_and_arrival(store: Store, reader: StoreReader) -> None:
    store.commit(of(row(1, 0, 8.1, payload=b"8.10")))
    store.commit(of(row(1, 0, 8.3, payload=b"8.30", delay_ms=2500)))
    assert reader.conflicts() == (Conflict(2, START_US, 8.3, START_US + 2_500_000, b"8.30"),)


def test_of_endless_conflicts_the_first_and_last_of_a_day_are_kept_and_all_are_counted(
    store: Store, reader: StoreReader, path: Path
) -> None:
    """A board whose clock stands, for two days, in commits of any size."""
    started, day = -(START_US // 1_000_000) % 86_400, 86_400
    values = itertools.count(1)
    told = 0
    for second in (started, started + day - 1, started + day):
        store.commit(of(row(0, second, 0.5)))
        for size in (1, 70, 3, 1, 200):
            done = store.commit(of(*(row(0, second, float(next(values))) for _ in range(size))))
            assert done.conflicts == size
            told += size
            assert reader.conflict_count == told
    kept = sorted(one.value for one in reader.conflicts(1000))
    ends = [range(1, KEPT + 1), range(551 - KEPT, 551), range(551, 551 + KEPT), range(826 - KEPT, 826)]
    assert kept == list(itertools.chain(*ends))
    assert reader.conflicts_not_kept == told - 4 * KEPT
    # What was there already, and is kept, is no news.
    assert store.commit(of(row(0, started, 1.0))).conflicts == 0
    assert query(path, "SELECT value FROM readings") == [(0.5,)] * 3


def test_endless_payload_is_cut_to_a_sample(store: Store, reader: StoreReader) -> None:
    store.commit(of(row(0, 0, 1.0), row(0, 0, 2.0, payload=b"x" * 100_000)))
    assert len(reader.conflicts()[0].payload) == 4096


def test_flags_marks_delay_and_commit_are_kept(store: Store, reader: StoreReader, path: Path) -> None:
    mark = Mark.ARRIVAL_TIME | Mark.LATE
    store.commit(of(row(0, 0, 25.0, flag=Flag.SUSPECT, mark=mark, delay_ms=1234, tests=0x30)))
    assert query(path, "SELECT flag_mark, delay_ms, commit_no FROM readings") == [(3 + 16 * 9, 1234, 1)]
    (latest,) = reader.latest()
    assert (latest.flag, latest.mark) == (Flag.SUSPECT, mark)


def test_only_readings_that_did_not_pass_have_test_flags(store: Store, reader: StoreReader) -> None:
    store.commit(of(row(0, 0, 25.0), row(0, 1, 26.0, flag=Flag.SUSPECT, tests=0x300)))
    # Within a commit that also brings duplicates, the same holds.
    store.commit(of(row(0, 0, 25.0, tests=0x40), row(0, 2, 27.0, tests=0x30), row(0, 3, 27.0)))
    assert reader.tests(1, 0, 2**62) == {START_US + SECOND: 0x300, START_US + 2 * SECOND: 0x30}


def test_revised_flag_leaves_the_rollup(store: Store, reader: StoreReader, path: Path) -> None:
    store.commit(of(row(0, 0, 25.0), row(0, 10, 99.0, mark=Mark.LATE), row(0, 20, 25.2)))
    roll_up(store, 3600)
    revised = FlagRevised(0, START_US + 10 * SECOND, int(Flag.FAIL), 0x400)
    store.commit(replace(of(row(0, 30, 25.1)), revised=[revised]))
    assert reader.readings(1, 0, 2**62).flags.tolist() == [1, 4, 1, 1]
    assert reader.tests(1, 0, 2**62) == {START_US + 10 * SECOND: 0x400}
    assert query(path, "SELECT high, count FROM rollups") == [(25.2, 3)]
    assert query(path, "SELECT flag_mark >> 4 FROM readings WHERE value = 99") == [(int(Mark.LATE),)]
    assert_rollups_match_readings(path)


def test_revision_may_concern_a_reading_of_the_same_commit(store: Store, path: Path) -> None:
    revised = FlagRevised(0, START_US, int(Flag.FAIL), 0x400)
    store.commit(replace(of(row(0, 0, 99.0)), revised=[revised]))
    assert query(path, "SELECT count(*) FROM rollups") == [(0,)]


def test_series_keeps_its_id_when_the_configuration_is_reordered(path: Path) -> None:
    with Store(path) as store:
        assert store.register(SERIES) == (1, 2, 3)
        store.commit(of(row(0, 0, 25.0)))
    with Store(path) as store:
        assert store.register(SERIES[::-1]) == (3, 2, 1)
        store.commit(of(row(0, 0, 26.0)))
        assert store.commit(of(row(2, 0, 25.0))).duplicates == 1


def test_series_of_another_quantity_is_refused(store: Store) -> None:
    changed = SeriesConfiguration("reef", "ph", "redox_potential")
    with pytest.raises(ConfigError, match=r"reef/ph has quantity 'redox_potential'.* but 'ph' in the store"):
        store.register([SeriesConfiguration("reef", "new", "ph"), changed])
    assert store.register(SERIES) == (1, 2, 3)


def test_rejections_of_a_source_add_up(store: Store, reader: StoreReader) -> None:
    first = Rejection("reef/probe", 2, 10, 20, "not a number", b"abc")
    store.commit(Commit(100, 100, rejections=[first]))
    store.commit(Commit(200, 200, rejections=[Rejection("reef/probe", 3, 110, 120, "empty", b"")]))
    assert reader.rejected() == (RejectedSource("reef/probe", 5, 10, 120, "empty", b""),)


def test_arrival_is_replaced_when_its_packet_id_is_used_again(store: Store, path: Path) -> None:
    old = Arrival(7, "reef/t", b"\x01" * 8, 100)
    new = Arrival(7, "reef/u", b"\x02" * 8, 300)
    store.commit(Commit(100, 100, arrivals=[old, Arrival(8, "reef/t", b"\x03" * 8, 101)]))
    store.commit(Commit(200, 200, arrivals=[new]))
    assert store.arrivals() == (new, Arrival(8, "reef/t", b"\x03" * 8, 101))
    store.close()
    with Store(path) as again:
        assert again.arrivals()[0] == new
        again.forget_arrivals()
        assert again.arrivals() == ()


def test_board_keeps_the_instant_of_its_last_change(store: Store, reader: StoreReader, path: Path) -> None:
    for is_online, since_us in ((True, 1), (True, 2), (False, 3), (False, 4)):
        store.commit(Commit(10, 10, boards=[BoardState("reef", "north", is_online, since_us)]))
    assert reader.boards() == (BoardState("reef", "north", False, 3),)
    assert query(path, "SELECT commit_no, is_online, since_us FROM boards") == [(1, 1, 1), (3, 0, 3)]


def test_notes_are_remembered_over_a_restart(store: Store, path: Path) -> None:
    assert store.note("protocol of broker:1883") is None
    store.set_note("protocol of broker:1883", "5")
    store.set_note("protocol of broker:1883", "3.1.1")
    store.close()
    with Store(path) as again:
        assert again.note("protocol of broker:1883") == "3.1.1"


def test_configuration_is_kept_once_until_it_changes(store: Store, path: Path) -> None:
    for text, at_us in (("a", 1), ("a", 2), ("b", 3), ("a", 4)):
        store.record_configuration(text, f"digest of {text}", at_us)
    assert query(path, "SELECT applies_from_us, text FROM configurations") == [(1, "a"), (3, "b"), (4, "a")]


def test_commit_numbers_go_on_after_a_restart(store: Store, path: Path) -> None:
    store.commit(of())
    store.close()
    with Store(path) as again:
        assert again.commit(of()).number == 2


MESSAGE = NewMessage(99, "ring", "sam", "phone", 1, 1, "title", "body", Priority.URGENT)


def test_commit_that_fails_at_its_end_keeps_nothing(store: Store, reader: StoreReader, path: Path) -> None:
    batch = Commit(
        100,
        100,
        rows=[row(0, 0, 25.0, tests=0x30)],
        arrivals=[Arrival(7, "reef/t", b"\x01" * 8, 100)],
        boards=[BoardState("reef", "north", True, 1)],
        messages=[MESSAGE],  # about an incident that does not exist
    )
    with pytest.raises(StoreError, match="FOREIGN KEY constraint failed"):
        store.commit(batch)
    for table in ("commits", "readings", "tests", "rollups", "arrivals", "boards", "outbox"):
        assert query(path, f"SELECT count(*) FROM {table}") == [(0,)], table
    assert store.commit(replace(batch, messages=())) == Committed(1, 1, 0, 0)
    assert reader.readings(1, 0, 2**62).values.tolist() == [25.0]


def test_mistake_in_a_batch_does_not_leave_a_transaction_open(store: Store) -> None:
    with pytest.raises(IndexError):
        store.commit(of(row(0, 0, 25.0), row(9, 0, 25.0)))
    assert store.commit(of(row(0, 0, 25.0))) == Committed(1, 1, 0, 0)


def test_commit_while_another_writes_fails_and_can_be_repeated(path: Path) -> None:
    with Store(path, busy_timeout_s=0.05) as store:
        store.register(SERIES)
        batch = of(row(0, 0, 25.0))
        with closing(connect(path, synchronous="FULL", busy_timeout_s=1)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(StoreError, match="database is locked"):
                store.commit(batch)
            other.execute("ROLLBACK")
        assert store.commit(batch) == Committed(1, 1, 0, 0)


def test_commits_from_two_threads_do_not_mix(store: Store, path: Path) -> None:
    def write(series: int) -> None:
        for second in range(100):
            store.commit(of(row(series, second, 1.0), row(series, second, 2.0)))

    threads = [threading.Thread(target=write, args=(series,)) for series in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert query(path, "SELECT count(*), count(DISTINCT commit_no) FROM readings") == [(200, 200)]
    # Of each series and day the first and the last are kept.
    assert query(path, "SELECT series, count(*) FROM conflicts GROUP BY 1") == [(1, 2 * KEPT), (2, 2 * KEPT)]
    not_kept = 100 - 2 * KEPT
    assert query(path, "SELECT series, count FROM conflicts_not_kept") == [(1, not_kept), (2, not_kept)]


OPEN = "import sys; from pathlib import Path; from collector.store import Store; Store(Path(sys.argv[1]))"


def test_second_process_is_told_that_the_store_is_in_use(store: Store, path: Path) -> None:
    other = subprocess.run([sys.executable, "-c", OPEN, str(path)], capture_output=True, text=True)
    assert other.returncode == 1
    assert "is in use by another Brinebell" in other.stderr
    store.close()
    subprocess.run([sys.executable, "-c", OPEN, str(path)], check=True)


def test_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="cannot be written"):
        Store(tmp_path / "file" / "store" / "brinebell.sqlite")


def test_unknown_synchronous_is_a_wrong_call(path: Path) -> None:
    with pytest.raises(ValueError, match="synchronous must be one of"):
        Store(path, synchronous="full speed")
