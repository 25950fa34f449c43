"""The mirror's cursors: whatever is stored when, the database ends up with all of it as it is."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from collector.errors import StoreError
from collector.store import Batch, Commit, MirrorCursor, Store, StoreReader, unmirrored_from_us
from collector.store.connection import connect
from rules import Flag, FlagRevised
from tests.store.commits import SECOND, SERIES, START_US, of, query, row

TARGET = "v1 http://127.0.0.1:8086 /brinebell"


class Mirrored:
    """A store, its cursor, and a database that is a table of what it was sent; batches stay on their way."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "brinebell.sqlite"
        self.store = Store(self.path, synchronous="OFF")
        self.store.register(SERIES)
        self.cursor = MirrorCursor(self.path, TARGET)
        self.there: dict[tuple[int, int], tuple[float | None, int]] = {}
        self.batch = Batch()

    def send(self, limit: int) -> None:
        self.batch = one = self.cursor.next_batch(limit)
        rows = zip(one.series, one.times_us, one.values, one.flags, strict=True)
        self.there |= {(series, at_us): (value, flag) for series, at_us, value, flag in rows}

    def settle(self, refused: int = 0) -> None:
        chosen = range(len(self.batch))[::3][:refused]
        for at in chosen:
            self.there.pop((self.batch.series[at], self.batch.times_us[at]), None)
        reasons = {at: f"reason {self.batch.series[at]}" for at in chosen}
        self.cursor.settle(self.batch, reasons, START_US)
        self.batch = Batch()

    def restart(self) -> None:
        self.batch = Batch()
        self.cursor.close()
        self.cursor = MirrorCursor(self.path, TARGET)

    def send_all(self) -> None:
        for _ in range(200):
            self.send(1000)
            if not len(self.batch):
                return
            self.settle()
        raise AssertionError("there is no end to it")

    def bring_back(self, keys: list[tuple[int, int]], value: float) -> None:
        """Import what the database has of some instants, as of the store that was lost."""
        self.restart()
        stored, rows = self.stored(), []
        for series, at in keys:
            key = (series + 1, START_US + at * SECOND)
            if key in self.there or key not in stored:
                there, flag = self.there.setdefault(key, (value, int(Flag.PASS)))
                rows.append((series, key[1], there, flag, 32, 0, 0, b""))
        self.store.commit(Commit(START_US, None, rows=rows, of_database=TARGET))

    def stored(self) -> dict[tuple[int, int], tuple[float | None, int]]:
        rows = query(self.path, "SELECT series, observed_us, value, flag_mark & 15 FROM readings")
        return {(series, at_us): (value, flag) for series, at_us, value, flag in rows}

    def close(self) -> None:
        self.cursor.close()
        self.store.close()


moment = st.integers(0, 40)
step = st.one_of(
    st.tuples(st.just("commit"), st.lists(st.tuples(st.integers(0, 2), moment), min_size=1, max_size=6)),
    st.tuples(st.just("revise"), st.tuples(st.integers(0, 2), moment)),
    st.tuples(st.just("send"), st.integers(1, 8)),
    st.tuples(st.just("settle"), st.integers(0, 2)),
    st.tuples(st.just("restart"), st.none()),
    st.tuples(st.just("import"), st.lists(st.tuples(st.integers(0, 2), moment), min_size=1, max_size=6)),
)


# Judged anew on its way; late beside one that is doubled; judged anew twice, the second time on its way.
@example([("commit", [(0, 1)]), ("send", 8), ("revise", (0, 1)), ("settle", 0)])
@example([("commit", [(0, 5)]), ("send", 8), ("settle", 0), ("commit", [(0, 5), (0, 2)])])
@example(
    [
        ("commit", [(0, 1)]),
        ("send", 8),
        ("settle", 0),
        ("revise", (0, 1)),
        ("send", 8),
        ("revise", (0, 1)),
        ("settle", 0),
    ]
)
@example(
    [
        ("commit", [(0, 0)]),
        ("send", 1),
        ("revise", (0, 0)),
        ("settle", 1),
        ("send", 1),
        ("settle", 0),
    ]
)
@settings(max_examples=50)
@given(st.lists(step, max_size=30))
def test_in_whatever_order_things_happen_the_database_ends_up_with_what_is_stored(steps: list) -> None:
    """Late and doubled readings, other flags, kills between sending and settling, refusals: all of it."""
    with tempfile.TemporaryDirectory() as folder:
        mirrored = Mirrored(Path(folder))
        for number, (what, how) in enumerate(steps):
            if what == "commit":
                rows = [row(series, at, float(number)) for series, at in how]
                mirrored.store.commit(of(*rows))
            elif what == "revise":
                flag = (Flag.SUSPECT, Flag.FAIL, Flag.NOT_EVALUATED)[number % 3]
                revised = FlagRevised(how[0], START_US + how[1] * SECOND, int(flag), number)
                mirrored.store.commit(Commit(START_US, None, revised=[revised]))
            elif what == "send":
                mirrored.send(how)
            elif what == "settle":
                mirrored.settle(how)
            elif what == "import":
                mirrored.bring_back(how, float(number))
            else:
                mirrored.restart()
        # What was refused is tried anew at a start.
        mirrored.restart()
        mirrored.send_all()
        assert mirrored.there == mirrored.stored()
        with StoreReader(mirrored.path) as reader:
            state = reader.mirror_state()
        assert (state.waiting, state.oldest_us, state.refused) == (0, None, 0)
        mirrored.close()


@pytest.fixture
def mirrored(tmp_path: Path) -> Mirrored:
    mirrored = Mirrored(tmp_path)
    yield mirrored
    mirrored.close()


def test_batches_go_by_time_over_all_series(mirrored: Mirrored) -> None:
    mirrored.store.commit(of(*(row(0, at, 1.0) for at in range(0, 60, 2))))
    mirrored.store.commit(of(*(row(2, at, 2.0) for at in range(1, 60, 6))))
    times: list[int] = []
    while not times or len(mirrored.batch):
        mirrored.settle()
        mirrored.send(9)
        assert len(mirrored.batch) <= 9
        times += mirrored.batch.times_us
    assert times == sorted(times)
    assert len(times) == 40


def test_what_was_refused_is_counted_by_reason_and_not_sent_again_before_the_next_start(
    mirrored: Mirrored,
) -> None:
    mirrored.store.commit(of(*(row(0, at, 1.0) for at in range(9))))
    mirrored.send(9)
    mirrored.settle(refused=2)
    with StoreReader(mirrored.path) as reader:
        (found,) = reader.refused_points()
        assert (found.tank, found.series, found.points, found.reason) == (
            "reef",
            "temperature",
            2,
            "reason 1",
        )
        assert (found.first_us, found.last_us) == (START_US, START_US + 3 * SECOND)
        assert reader.mirror_state().oldest_us is None
    assert len(mirrored.cursor.next_batch(9)) == 0
    mirrored.restart()
    assert list(mirrored.cursor.next_batch(9).times_us) == [START_US, START_US + 3 * SECOND]


def test_more_than_enough_refused_points_are_counted_and_not_kept(mirrored: Mirrored) -> None:
    mirrored.store.commit(of(*(row(0, at, 1.0) for at in range(9))))
    cursor = MirrorCursor(mirrored.path, TARGET, most_refused=4)
    for _ in range(3):
        batch = cursor.next_batch(3)
        cursor.settle(batch, dict.fromkeys(range(3), "beyond retention"), START_US)
    cursor.close()
    with StoreReader(mirrored.path) as reader:
        state = reader.mirror_state()
        assert (state.refused, state.not_kept, state.oldest_us) == (4, 5, None)
        assert [one.points for one in reader.refused_points()] == [4]
    # Refused once more, they are the same four.
    again = MirrorCursor(mirrored.path, TARGET, most_refused=4)
    batch = again.next_batch(9)
    assert len(batch) == 4
    again.settle(batch, dict.fromkeys(range(4), "beyond retention"), START_US)
    assert len(again.next_batch(9)) == 0
    assert again.refused_count == 4
    again.close()


def test_what_was_refused_is_kept_although_its_reading_is_deleted_here(mirrored: Mirrored) -> None:
    mirrored.store.commit(of(row(0, 0, 25.5)))
    mirrored.send(9)
    mirrored.settle(refused=1)
    connection = connect(mirrored.path, synchronous="OFF", busy_timeout_s=5)
    connection.execute("DELETE FROM readings")
    connection.close()
    mirrored.restart()
    batch = mirrored.cursor.next_batch(9)
    assert (list(batch.values), list(batch.origins)) == ([25.5], [-1])


def test_another_database_is_filled_from_the_beginning_and_the_old_cursor_moves_nothing(
    mirrored: Mirrored,
) -> None:
    mirrored.store.commit(of(row(0, 0, 25.0), row(0, 1, 25.1)))
    mirrored.send(1)
    other = MirrorCursor(mirrored.path, "v2 http://10.0.0.7:8086 home/brinebell")
    with pytest.raises(StoreError, match="another database follows"):
        mirrored.settle()
    assert len(other.next_batch(9)) == 2
    other.close()


def test_who_deletes_old_readings_is_told_from_where_on_they_are_nowhere_else(mirrored: Mirrored) -> None:
    mirrored.store.commit(of(*(row(0, at, 25.0) for at in (0, 10, 20, 30))))
    mirrored.send(2)
    mirrored.settle()
    connection = connect(mirrored.path, synchronous="OFF", busy_timeout_s=5)
    assert unmirrored_from_us(connection, 1) == START_US + 20 * SECOND
    mirrored.store.commit(of(row(0, 5, 25.0)))  # late
    assert unmirrored_from_us(connection, 1) == START_US + 5 * SECOND
    mirrored.send_all()
    assert unmirrored_from_us(connection, 1) is None
    connection.close()


def test_without_a_database_nothing_is_noted_behind_and_nothing_held_back(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path) as store:
        store.register(SERIES)
        store.commit(of(row(0, 10, 25.0)))
        store.commit(of(row(0, 5, 25.0)))
        revised = FlagRevised(0, START_US + 10 * SECOND, int(Flag.FAIL), 1)
        store.commit(Commit(START_US, None, revised=[revised]))
        connection = connect(path, synchronous="OFF", busy_timeout_s=5)
        assert unmirrored_from_us(connection, 1) is None
        connection.close()
    assert query(path, "SELECT count(*) FROM mirror_again") == [(0,)]
    with StoreReader(path) as reader:
        assert reader.mirror_state() is None


def test_what_came_from_the_database_is_not_sent_it_but_what_lies_between_is(tmp_path: Path) -> None:
    mirrored = Mirrored(tmp_path)
    mirrored.bring_back([(0, 1), (0, 2), (1, 5)], 1.0)
    assert len(mirrored.cursor.next_batch(10)) == 0
    # One of our own, and behind it more from there: both are sent, for the cursor says "all up to here".
    mirrored.store.commit(of(row(0, 3, 2.0)))
    mirrored.bring_back([(0, 4)], 1.0)
    assert len(mirrored.cursor.next_batch(10)) == 2
    mirrored.send_all()
    # Behind the cursor it is no late reading.
    mirrored.bring_back([(0, 0)], 1.0)
    assert len(mirrored.cursor.next_batch(10)) == 0
    # Of another database than that which follows, it is.
    late = Commit(START_US, None, rows=[(0, START_US - SECOND, 1.0, 1, 32, 0, 0, b"")], of_database="another")
    mirrored.store.commit(late)
    assert len(mirrored.cursor.next_batch(10)) == 1
    mirrored.close()
