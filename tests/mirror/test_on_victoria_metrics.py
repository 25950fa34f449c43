"""The mirror through influxdb-client, on a real server that takes version 2 writes: transport, outage, order.

victoria-metrics keeps milliseconds and some nine digits, keeps a point twice that is sent twice, and answers
204 to bad lines: sets are compared after rounding, and rows one by one on InfluxDB 1 (`test_on_influxdb.py`).
"""

from __future__ import annotations

import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from collector.configuration import DatabaseConfiguration
from collector.database import open_database
from collector.errors import DatabaseError
from tests.database.servers import victoria
from tests.delivery.receivers import wait_for
from tests.mirror.parts import BEGIN_US, mirror, opened, rows, state, store, stored, until_all_sent
from tests.mirror.test_on_influxdb import Recorder

pytestmark = pytest.mark.victoria


def rounded(points: set[tuple[str, str, int, float]]) -> set[tuple[str, str, int, str]]:
    return {(tank, name, at_ms, f"{value:.8g}") for tank, name, at_ms, value in points}


def expected(path: Path) -> set[tuple[str, str, int, float]]:
    found = set()
    for (tank, name, at_us), (value, flag) in stored(path).items():
        found.add((tank, f"{name}/flag", at_us // 1000, float(flag)))
        if value is not None:
            found.add((tank, name, at_us // 1000, value))
    return found


def test_hours_of_backlog_and_an_outage_arrive_in_order_and_whole(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    all_rows = rows(4 * 6 * 60 * 6)  # six hours
    orders: list[list[bytes]] = []
    with victoria(tmp_path / "victoria") as server, opened(path) as journal:
        database = DatabaseConfiguration(server.address, bucket="brinebell", interval_s=0.02)
        store(journal, all_rows[:1000])
        with mirror(path, replace(database, gzip=False)):
            until_all_sent(path, database)
        store(journal, all_rows[1000:4000])
        with mirror(path, database, wrap=lambda target: Recorder(target, orders), most=1000) as worker:
            until_all_sent(path, database)
            server.stop(signal.SIGTERM)
            store(journal, all_rows[4000:])
            wait_for(lambda: worker.health.failing_since_us is not None)
            server.start()
            until_all_sent(path, database)
        assert rounded(server.samples()) == rounded(expected(path))
        # It answers no Flux: that is told, and is no outage.
        past = open_database(database)
        with pytest.raises(DatabaseError, match="the database answers 4"):
            past.readings("reef", "ph", BEGIN_US, BEGIN_US + 1)
        past.close()
    assert state(path).failing_since_us is None
    times = [int(line.rsplit(b" ", 1)[1]) for lines in orders for line in lines]
    assert times == sorted(times)
    assert max(map(len, orders)) == 1000


def test_the_client_is_loaded_only_where_a_database_speaks_version_2_and_never_brings_pandas() -> None:
    code = (
        "import sys; import collector.mirror, collector.checks.database, collector.database.version1;"
        "assert 'influxdb_client' not in sys.modules;"
        "import collector.database.version2; print('pandas' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
