"""Work announced on the command line, with the real service beside it, and without."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from sqlite3 import connect
from typing import NoReturn

import pytest

from collector.commands.asking import who
from collector.settings import load_configuration
from collector.store import StoreReader
from rules import HOUR_US
from tests.commands.conftest import SERIES, Run, free_port

MINUTE = HOUR_US // 60
SECOND_TANK = SERIES.replace("reef", "nursery").replace("boards/sump", "boards/nursery")


class Running:
    """`brinebell run` on a configuration in a folder; its broker is away, and it lives on."""

    def __init__(self, folder: Path, more: str = "") -> None:
        self.folder = folder
        self.file = folder / "brinebell.toml"
        head = f'[service]\nfolder = "data"\n[mqtt]\nport = {free_port()}\n[page]\nenabled = false\n'
        self.file.write_text(head + SERIES + more)
        self.path = load_configuration(self.file, {}).store.path
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with (self.folder / "service.log").open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "collector", "run", "--config", str(self.file)],
                stdout=log,
                stderr=log,
                env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
            )
        self.until(lambda: "cannot be reached" in (self.folder / "service.log").read_text())

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def until(self, is_so: Callable[[], bool]) -> None:
        end = time.monotonic() + 20
        while not is_so():
            assert time.monotonic() < end, (self.folder / "service.log").read_text()
            time.sleep(0.05)

    def works(self) -> list[tuple[str, str, int]]:
        """Tank, kind and whole minutes of the works that are known."""
        with StoreReader(self.path) as reader:
            return [(one.tank, one.kind, (one.to_us - one.from_us) // MINUTE) for one in reader.known_works()]

    def commits_of_requests(self) -> list[int | None]:
        with closing(connect(self.path)) as connection:
            return [number for (number,) in connection.execute("SELECT commit_no FROM requests")]


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Running]:
    one = Running(tmp_path)
    yield one
    one.kill()


def test_work_is_announced_goes_on_longer_and_ends(service: Running, ask: Run) -> None:
    service.start()
    told = ask("work", "begin", "water_change", "--for", "45 min")
    assert (told.returncode, told.stderr) == (0, "")
    assert told.stdout.startswith("Water change: goes on until ")
    assert "; these always do: " in told.stdout
    assert "heater stuck on" in told.stdout.lower()
    assert service.works() == [("reef", "water_change", 45)]
    assert ask("work", "begin", "water_change", "--for", "90 min").returncode == 0
    assert service.works() == [("reef", "water_change", 90)]
    told = ask("work", "end")
    assert (told.returncode, told.stdout) == (0, "Water change in reef is over.\n")
    assert service.works() == [("reef", "water_change", 0)]
    told = ask("work")
    assert "Water change: over since " in told.stdout
    assert "feeding_pause" in told.stdout


def test_work_to_come_is_listed_and_cancelled(service: Running, ask: Run) -> None:
    service.start()
    assert ask("work").stdout.startswith("No work is planned.\n")
    told = ask("work", "begin", "feeding_pause", "--in", "2 h", "--for", "15 min")
    assert told.stdout.startswith("Feeding pause: from ")
    assert ask("work").stdout.startswith("Feeding pause: from ")
    told = ask("work", "end")
    assert (told.returncode, told.stderr) == (1, "Not done: no planned work goes on in reef.\n")
    assert ask("work", "cancel", "feeding_pause").stdout == "No longer planned in reef: feeding pause.\n"
    assert service.works() == []
    for kind, wait in (("feeding_pause", "2 h"), ("water_change", "3 h")):
        assert ask("work", "begin", kind, "--in", wait, "--for", "15 min").returncode == 0
    told = ask("work", "cancel", "all")
    assert told.stdout == "No longer planned in reef: feeding pause, water change.\n"
    assert service.works() == []


def test_what_is_asked_while_the_service_is_away_is_done_once_when_it_is_back(
    service: Running, ask: Run
) -> None:
    service.start()
    service.kill()
    told = ask("work", "begin", "calibration", "--for", "30 min")
    assert told.returncode == 1
    assert told.stderr.startswith("The service has not answered within 5 s: is it running?")
    assert service.works() == []
    service.start()
    service.until(lambda: service.works() == [("reef", "calibration", 30)])
    done = service.commits_of_requests()
    assert None not in done
    service.kill()
    service.start()
    assert service.works() == [("reef", "calibration", 30)]
    assert service.commits_of_requests() == done


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("begin",), "say what is done: brinebell work begin KIND, one of feeding_pause, water_change"),
        (
            ("begin", "water_change"),
            'say how long it takes: brinebell work begin water_change --for "45 min"',
        ),
        (
            ("begin", "water_chang", "--for", "5 min"),
            "there is no work 'water_chang': did you mean \"water_c",
        ),
        (("begin", "calibration", "--for", "soon"), '"soon" is no duration'),
        (("end", "--for", "5 min"), "`work end` takes neither"),
        (("--for", "5 min"), 'go with `work begin`: brinebell work begin water_change --for "45 min"'),
        (
            ("cancel",),
            "say what is not to come: brinebell work cancel KIND, one of feeding_pause, water_change",
        ),
        (("end", "all"), "there is no work 'all'"),
        (("end", "--tank", "ref"), "there is no tank 'ref': did you mean \"reef\"?"),
    ],
)
def test_a_mistaken_command_says_how_it_is_meant(
    service: Running, ask: Run, arguments: tuple[str, ...], why: str
) -> None:
    told = ask("work", *arguments)
    assert told.returncode == 2
    assert why in told.stderr
    assert len(told.stderr.splitlines()) == 1


def test_of_several_tanks_one_must_be_named(tmp_path: Path, ask: Run) -> None:
    service = Running(tmp_path, SECOND_TANK)
    try:
        service.start()
        assert "say which tank with --tank: one of reef, nursery" in ask("work", "end").stderr
        told = ask("work", "begin", "feeding_pause", "--for", "10 min", "--tank", "nursery")
        assert told.stdout.startswith("Feeding pause in nursery: goes on until ")
        assert service.works() == [("nursery", "feeding_pause", 10)]
    finally:
        service.kill()


def test_before_the_first_start_there_is_nobody_to_tell(service: Running, ask: Run) -> None:
    told = ask("work", "begin", "feeding_pause", "--for", "10 min")
    assert told.returncode == 1
    assert "`brinebell run` makes it" in told.stderr


def test_who_has_no_name_on_this_machine_is_told_by_number(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LOGNAME", "USER", "LNAME", "USERNAME"):
        monkeypatch.delenv(name, raising=False)

    def unknown(number: int) -> NoReturn:
        # As a container does that runs under an id of its own.
        raise KeyError(f"getpwuid(): uid not found: {number}")

    monkeypatch.setattr("pwd.getpwuid", unknown)
    assert who() == f"user {os.getuid()}"
