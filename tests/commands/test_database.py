"""`brinebell check` and `brinebell replay` of a real database."""

# ruff: noqa: E501 - one case a row
from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest

from collector.__main__ import main
from collector.checks import Verdict
from collector.checks.database import check_database
from collector.configuration import Configuration, DatabaseConfiguration
from collector.payloads import state_value
from collector.recordings import read_files
from collector.settings import load_configuration
from collector.store import Commit, Store
from collector.units import converter
from tests.broker import free_port
from tests.commands.conftest import SERIES
from tests.database.servers import Influx, influx
from tests.mirror.parts import mirror, until_all_sent
from tests.store.commits import SECOND, row

pytestmark = pytest.mark.influxdb

CASE = files("replay_data") / "heater_failed_off"
NOW_US = time.time_ns() // 1000


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influx]:
    with influx(tmp_path_factory.mktemp("influx")) as server:
        yield server


@pytest.fixture
def configuration(tmp_path: Path, server: Influx) -> Configuration:
    path = tmp_path / "brinebell.toml"
    path.write_text(
        f'[service]\nfolder = "data"\n[database]\naddress = "{server.address}"\napi = "v1"\n{SERIES}'
    )
    return load_configuration(path, {})


def found(configuration: Configuration, **changes: object) -> list[tuple[Verdict, str, str]]:
    assert configuration.database is not None
    changed = replace(configuration, database=replace(configuration.database, **changes))
    return [(one.verdict, one.text, one.mend) for one in check_database(changed)]


def fill(configuration: Configuration, *seconds_ago: int) -> None:
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        rows = [(*row(0, 0, 25.0)[:1], NOW_US - ago * SECOND, *row(0, 0, 25.0)[2:]) for ago in seconds_ago]
        store.commit(Commit(NOW_US, None, rows=rows))


def test_without_a_database_nothing_is_said(configuration: Configuration) -> None:
    assert list(check_database(replace(configuration, database=None))) == []


def test_a_database_that_takes_and_gives_is_well_and_its_lag_is_told(
    server: Influx, configuration: Configuration
) -> None:
    database = replace(server.make("lag"), token="somebody:salt")
    changes = {"bucket": "lag", "token": "somebody:salt", "interval_s": 0.02}
    takes, gives = found(configuration, **changes)
    assert takes == (Verdict.WELL, f"{server.address} takes readings for lag", "")
    assert gives == (Verdict.WELL, "it answers questions in InfluxQL", "")
    fill(configuration, 3600, 1800)
    assert found(configuration, **changes)[2][:2] == (Verdict.NOTE, "nothing was sent to it yet")
    with mirror(configuration.store.path, database):
        until_all_sent(configuration.store.path, database)
    assert found(configuration, **changes)[2] == (Verdict.WELL, "it has every reading", "")
    assert server.rows("lag").keys() == {
        ("reef", "temperature", NOW_US - 3600 * SECOND),
        ("reef", "temperature", NOW_US - 1800 * SECOND),
    }
    fill(configuration, 1200)
    verdict, text, mend = found(configuration, **changes)[2]
    assert verdict is Verdict.NOTE
    # Of the time at which this was imported.
    assert re.fullmatch(r"it lacks 1 reading, the oldest of them [2-9]\d min old", text)
    assert "see whether it runs" in mend
    # Another one is told as such.
    assert found(configuration, **changes, org="other")[2][1].startswith("readings were sent elsewhere")


def test_refused_readings_are_told_with_the_reason_and_how_to_send_them_anew(
    server: Influx, configuration: Configuration
) -> None:
    server.make("short")
    server.ask('CREATE RETENTION POLICY day ON "short" DURATION 1d REPLICATION 1')
    fill(configuration, 500_000, 400_000, 60)
    database = DatabaseConfiguration(server.address, api="v1", bucket="short/day", interval_s=0.02)
    with mirror(configuration.store.path, database):
        until_all_sent(configuration.store.path, database)
    *_, progress, refused = found(configuration, bucket="short/day")
    assert progress[:2] == (Verdict.WELL, "it has every reading but those below")
    assert refused[0] is Verdict.WRONG
    assert refused[1].startswith("it refused 2 of reef/temperature, ")
    assert refused[1].endswith(": partial write: points beyond retention policy")
    assert "systemctl reload brinebell" in refused[2]


@pytest.mark.parametrize(
    ("changes", "text", "mend"),
    [
        ({"bucket": "nowhere"}, 'readings cannot be sent: the database answers 404: database not found: "nowhere"', "make the bucket"),
        ({"api": "v2"}, "readings cannot be sent: the database answers 404", "database.bucket"),
        ({"address": f"http://127.0.0.1:{free_port()}"}, "cannot be reached (Connection refused)", "start the database"),
    ],
)  # fmt: skip
def test_what_cannot_be_reached_is_wrong_and_how_to_mend_it_is_told(
    configuration: Configuration, changes: dict[str, str], text: str, mend: str
) -> None:
    ((verdict, told, how),) = found(configuration, **changes)
    assert verdict is Verdict.WRONG
    assert text in told
    assert mend in how


def test_a_token_in_the_open_is_worth_a_note(configuration: Configuration) -> None:
    first, *_ = found(configuration, address="http://watch.example:1", token="salt:salt")
    assert first[0] is Verdict.NOTE
    assert "plain http" in first[1]


def test_a_recorded_night_is_replayed_from_the_database_when_the_store_has_it_no_more(
    server: Influx, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same incidents to the second as from the file that the readings came from."""
    database = server.make("night")
    settings = tmp_path / "brinebell.toml"
    table = f'[database]\naddress = "{server.address}"\napi = "v1"\nbucket = "night"\n[page]'
    text = (files("replay_data") / "tank.toml").read_text()
    settings.write_text(text.replace("[page]", table, 1) if "[page]" in text else f"{table[:-6]}{text}")
    configuration = load_configuration(settings, {})
    header, *lines = (CASE / "heater_failed_off.csv").read_text().splitlines()
    night = tmp_path / "night.csv"
    night.write_text("\n".join([header, *(one for one in lines if "2026-03-06" <= one < "2026-03-07T12")]))
    recorded = read_files([night], configuration, converter, state_value)
    path = configuration.store.path
    with Store(path, synchronous="OFF") as store:
        store.register(configuration.series)
        columns = zip(
            recorded.series.tolist(), recorded.times_us.tolist(), recorded.values.tolist(), strict=True
        )
        store.commit(
            Commit(int(recorded.times_us[-1]), None, rows=[(*one, 1, 0, 0, 0, b"") for one in columns])
        )
    with mirror(path, database):
        until_all_sent(path, database)
    path.unlink()
    first, last = (f"{one}Z" for one in recorded.times_us[[0, -1]].astype("datetime64[us]"))
    common = ("--config", str(settings), "--json")
    found = []
    for source in ([str(night)], ["--database", "--from", first, "--to", last]):
        assert main(["replay", *source, *common]) == 0
        found.append(json.loads(capsys.readouterr().out)["incidents"])
    assert len(found[0]) == 1
    assert found[0] == found[1]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--database", "--from", "2026-03-01T00:00Z"), "no database is configured: write [database]"),
        (("--database",), "--database needs --from"),
        (("--database", "week.csv"), "give one of the two"),
    ],
)
def test_a_replay_that_cannot_be_says_what_is_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], told: str
) -> None:
    (tmp_path / "brinebell.toml").write_text(SERIES)
    assert main(["replay", *arguments, "--config", str(tmp_path / "brinebell.toml")]) != 0
    assert told in capsys.readouterr().err
