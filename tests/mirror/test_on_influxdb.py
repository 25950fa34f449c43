"""The mirror on a real InfluxDB 1: equal rows, order, refused points, outage, a slow server."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from collector.configuration import DatabaseConfiguration
from collector.database import open_database
from collector.store import Commit, StoreReader
from rules import Flag, FlagRevised
from tests.database.servers import Influx, influx
from tests.delivery.receivers import wait_for
from tests.mirror.forwarder import Forwarder
from tests.mirror.parts import BEGIN_US, SERIES, mirror, opened, rows, state, store, stored, until_all_sent
from tests.store.commits import SECOND

pytestmark = pytest.mark.influxdb

HOUR_US = 3600 * SECOND


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influx]:
    with influx(tmp_path_factory.mktemp("influx")) as server:
        yield server


@pytest.fixture
def database(server: Influx, request: pytest.FixtureRequest) -> DatabaseConfiguration:
    return server.make(request.node.name.replace('"', ""))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "brinebell.sqlite"


def test_a_night_away_is_caught_up_row_by_row_and_once_more_changes_nothing(
    server: Influx, database: DatabaseConfiguration, path: Path
) -> None:
    with opened(path) as journal:
        store(journal, rows(4 * 6 * 60 * 12))  # twelve hours
        with mirror(path, database):
            until_all_sent(path, database)
            # Live, meanwhile: new ones, one that came late, and one whose flag is judged anew.
            live = rows(400, begin_us=BEGIN_US + 12 * HOUR_US, seed=2)
            late = (0, BEGIN_US + 5 * SECOND + 1, 24.0, 1, 8, 50, 0, b"")
            revised = FlagRevised(live[3][0], live[3][1], int(Flag.FAIL), 0x400)
            journal.commit(Commit(live[-1][1], None, rows=[*live, late]))
            until_all_sent(path, database)
            journal.commit(Commit(live[-1][1], None, revised=[revised]))
            until_all_sent(path, database)
        first = server.rows(database.bucket)
        assert first == stored(path)
        assert len(first) == 4 * 6 * 60 * 12 + 401
        assert first[(*named(live[3][0]), live[3][1])][1] == Flag.FAIL
        # Another name of the same server is another database to the mirror, and so all of it is sent again.
        again = replace(database, address=database.address.replace("127.0.0.1", "localhost"))
        with mirror(path, again):
            until_all_sent(path, again)
        assert server.rows(database.bucket) == first
    past = open_database(database)
    with StoreReader(path) as reader:
        number = reader.series_id("reef", "ph")
        span = (BEGIN_US + HOUR_US, BEGIN_US + 8 * HOUR_US)
        here, there = reader.readings(number, *span), past.readings("reef", "ph", *span)
    assert len(here.times_us) > 2500
    for mine, theirs in zip(here, there, strict=True):
        assert mine.dtype == theirs.dtype
        assert (mine == theirs)[mine == mine].all()
    past.close()


def test_points_that_are_refused_are_set_aside_with_the_reason_and_taken_when_the_cause_is_mended(
    server: Influx, database: DatabaseConfiguration, path: Path
) -> None:
    server.ask(f'CREATE RETENTION POLICY short ON "{database.bucket}" DURATION 1d REPLICATION 1')
    short = replace(database, bucket=f"{database.bucket}/short")
    now_us = time.time_ns() // 1000
    old = rows(90, begin_us=now_us - 100 * HOUR_US)
    new = rows(200, begin_us=now_us - HOUR_US)
    with opened(path) as journal:
        store(journal, old + new)
        with mirror(path, short) as worker:
            until_all_sent(path, short)
            wait_for(lambda: worker.health.refused == len(old))
        known = stored(path)
        kept = {key: value for key, value in known.items() if key[2] >= new[0][1]}
        assert server.rows(database.bucket, "short") == kept
        with StoreReader(path) as reader:
            refused = reader.refused_points()
        assert sum(one.points for one in refused) == len(old)
        assert {one.reason for one in refused} == {"partial write: points beyond retention policy"}
        server.ask(f'ALTER RETENTION POLICY short ON "{database.bucket}" DURATION INF')
        with mirror(path, short) as worker:
            wait_for(lambda: worker.health.has_sent and not worker.health.refused)
        assert server.rows(database.bucket, "short") == known
        assert state(path).refused == 0


def test_only_the_points_that_another_writer_stands_in_the_way_of_are_refused(
    server: Influx, database: DatabaseConfiguration, path: Path
) -> None:
    """A field that was written as an integer keeps its type for the shard, a week: the next one is free."""
    with opened(path) as journal:
        store(journal, rows(4 * 6 * 60 * 12, missing=0.0002))
        somebody = f"reading value=1i {BEGIN_US - SECOND}000".encode()
        there = open_database(database)
        there.write([somebody])
        there.close()
        with mirror(path, database) as worker:
            until_all_sent(path, database)
            refused = worker.health.refused
        known = stored(path)
        first_week = {k for k, v in known.items() if k[2] < BEGIN_US + 6 * HOUR_US and v[0] is not None}
        assert refused == len(first_week) > 4000
        found = {key: value for key, value in server.rows(database.bucket).items() if key[0]}
        assert found.keys() == known.keys() - first_week
        with StoreReader(path) as reader:
            reasons = {one.reason for one in reader.refused_points()}
        assert len(reasons) == 1
        assert "field type conflict" in reasons.pop()


def test_an_outage_is_waited_out_and_what_came_meanwhile_is_sent_in_order(tmp_path: Path, path: Path) -> None:
    with influx(tmp_path / "influx") as server, opened(path) as journal:
        database = server.make("outage")
        all_rows = rows(4 * 6 * 60 * 12)
        store(journal, all_rows[:6000])
        orders: list[list[bytes]] = []
        with mirror(path, database, wrap=lambda target: Recorder(target, orders), most=1000) as worker:
            until_all_sent(path, database)
            server.stop(signal.SIGKILL)
            store(journal, all_rows[6000:9000])
            wait_for(lambda: worker.health.failing_since_us is not None)
            assert state(path).reason == worker.health.reason
            assert "cannot be reached" in worker.health.reason
            store(journal, all_rows[9000:])
            assert state(path).waiting >= len(all_rows) - 6000
            server.start()
            until_all_sent(path, database)
            wait_for(lambda: worker.health.failing_since_us is None)
        assert state(path).failing_since_us is None
        # A database that is killed keeps what it had answered for.
        assert server.rows("outage") == stored(path)
    times = [int(line.rsplit(b" ", 1)[1]) for lines in orders for line in lines]
    assert times == sorted(times)


def named(series: int) -> tuple[str, str]:
    return SERIES[series].tank, SERIES[series].name


class Recorder:
    """A target that notes what was taken, in order."""

    def __init__(self, target: object, taken: list[list[bytes]]) -> None:
        self._target, self._taken = target, taken

    def write(self, lines: list[bytes]) -> None:
        self._target.write(lines)
        self._taken.append(list(lines))

    def close(self) -> None:
        self._target.close()


def test_a_slow_server_is_sent_less_at_once_until_it_answers_in_time(
    server: Influx, database: DatabaseConfiguration, path: Path
) -> None:
    with opened(path) as journal, Forwarder(server.port, bytes_per_s=150_000) as slow:
        store(journal, rows(2000))
        through = replace(database, address=slow.address, gzip=False)
        with mirror(path, through, most=1000, timeout_s=0.3):
            until_all_sent(path, through)
        assert server.rows(database.bucket) == stored(path)
    # What took too long may have been written all the same, and was sent again in parts.
    assert slow.sizes[0] > 45_000 > min(slow.sizes)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"bucket": "nowhere"}, 'the database answers 404: database not found: "nowhere"'),
        ({"api": "v2"}, "the database answers 404"),
    ],
)
def test_a_wrong_name_or_version_is_told_and_nothing_is_set_aside(
    database: DatabaseConfiguration, path: Path, change: dict[str, str], told: str
) -> None:
    with opened(path) as journal:
        store(journal, rows(40))
        with mirror(path, replace(database, **change)) as worker:
            wait_for(lambda: worker.health.failing_since_us is not None)
        assert told in worker.health.reason
        assert (state(path).waiting, state(path).refused) == (40, 0)
