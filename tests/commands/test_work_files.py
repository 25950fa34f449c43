"""Calendar files on the command line, with the real service beside it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from collector.store import StoreReader
from tests.commands.conftest import Run
from tests.commands.test_work import Running

SOON = datetime.now(UTC).replace(second=0, microsecond=0) + timedelta(hours=3)
TOMORROW = SOON + timedelta(days=3)


def event(uid: str, summary: str, starts: datetime, rule: str = "", minutes: int = 15) -> str:
    return (
        f"BEGIN:VEVENT\r\nUID:{uid}\r\nSUMMARY:{summary}\r\nDTSTART:{starts:%Y%m%dT%H%M%SZ}\r\n"
        f"DURATION:PT{minutes}M\r\n{rule}END:VEVENT\r\n"
    )


def calendar(*events: str) -> str:
    return f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n{''.join(events)}END:VCALENDAR\r\n"


DAILY = event("a", "Feeding pause", SOON, "RRULE:FREQ=DAILY\r\n")
ONCE = event("b", "Water change", TOMORROW, minutes=45)


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Running]:
    one = Running(tmp_path)
    one.start()
    yield one
    one.kill()


def imported(service: Running) -> list[tuple[str, str]]:
    with StoreReader(service.path) as reader:
        return [(one.kind, one.repeats) for one in reader.imported_works()]


def test_what_is_imported_is_planned_outlives_a_kill_and_is_replaced_by_the_next_file(
    service: Running, ask: Run, tmp_path: Path
) -> None:
    (tmp_path / "plan.ics").write_text(calendar(DAILY, ONCE), newline="")
    told = ask("work", "import", "plan.ics")
    assert (told.returncode, told.stdout, told.stderr) == (0, "2 works planned from the file.\n", "")
    # What is days ahead is planned as it comes near.
    assert service.works() == [("reef", "feeding_pause", 15)]
    assert imported(service) == [("feeding_pause", "FREQ=DAILY"), ("water_change", "")]
    service.kill()
    service.start()
    assert ask("work").stdout.startswith("Feeding pause: from ")
    # The same file again changes nothing; a longer pause takes the place of the shorter one.
    assert ask("work", "import", "plan.ics").returncode == 0
    assert service.works() == [("reef", "feeding_pause", 15)]
    (tmp_path / "plan.ics").write_text(calendar(DAILY.replace("PT15M", "PT20M")), newline="")
    assert ask("work", "import", "plan.ics").stdout == "1 work planned from the file.\n"
    assert service.works() == [("reef", "feeding_pause", 20)]
    (tmp_path / "plan.ics").write_text(calendar(), newline="")
    assert ask("work", "import", "plan.ics").stdout == "0 works planned from the file.\n"
    assert service.works() == []
    assert imported(service) == []


def test_what_cannot_be_read_is_named_with_file_and_line_and_the_rest_is_planned(
    service: Running, ask: Run, tmp_path: Path
) -> None:
    (tmp_path / "plan.ics").write_text(calendar(event("c", "Dentist", SOON), DAILY), newline="")
    told = ask("work", "import", "plan.ics")
    assert told.returncode == 1
    assert told.stdout == "1 work planned from the file.\n"
    assert told.stderr.startswith('plan.ics:5: "Dentist" names no kind of work: write one of feeding_pause, ')
    assert len(told.stderr.splitlines()) == 1
    (tmp_path / "plan.ics").write_text(calendar(event("c", "Dentist", SOON)), newline="")
    told = ask("work", "import", "plan.ics")
    assert told.returncode == 2
    assert "what was imported before stays" in told.stderr
    assert imported(service) == [("feeding_pause", "FREQ=DAILY")]


def test_the_plan_that_is_exported_can_be_imported_and_is_the_same(
    service: Running, ask: Run, tmp_path: Path
) -> None:
    (tmp_path / "plan.ics").write_text(calendar(DAILY, ONCE), newline="")
    assert ask("work", "import", "plan.ics").returncode == 0
    assert ask("work", "begin", "calibration", "--in", "1 h", "--for", "30 min").returncode == 0
    told = ask("work", "export", "out.ics")
    assert (told.returncode, told.stdout) == (0, "3 works are written to out.ics.\n")
    screen = ask("work", "export").stdout
    assert screen.startswith("BEGIN:VCALENDAR\n")
    assert screen.count("BEGIN:VEVENT") == 3
    assert screen.count("RRULE:FREQ=DAILY") == 1
    assert ask("work", "cancel", "calibration").returncode == 0
    assert ask("work", "import", "out.ics").stdout == "3 works planned from the file.\n"
    assert sorted(imported(service)) == [
        ("calibration", ""),
        ("feeding_pause", "FREQ=DAILY"),
        ("water_change", ""),
    ]
    assert ("reef", "feeding_pause", 15) in service.works()


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("import",), "say which file: brinebell work import plan.ics"),
        (("import", "gone.ics"), "gone.ics cannot be read: No such file"),
        (("import", "brinebell.toml"), "brinebell.toml: this is no iCalendar file"),
        (("import", "plan.ics", "--for", "5 min"), "a file says when its works are"),
        (("export", "gone/plan.ics"), "gone/plan.ics cannot be written: No such file"),
        (("export", "--tank", "ref"), 'did you mean "reef"?'),
    ],
)
def test_a_mistaken_command_says_how_it_is_meant(
    service: Running, ask: Run, arguments: tuple[str, ...], why: str
) -> None:
    told = ask("work", *arguments)
    assert told.returncode == 2
    assert why in told.stderr
    assert len(told.stderr.splitlines()) == 1
