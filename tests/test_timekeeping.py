"""Whether a machine knows what time it is, and what the service goes by while it does not."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.clock import Clock
from collector.timekeeping import Timekeeping, Trust, is_set

SECOND = 1_000_000
START_US = 1_790_000_000 * SECOND


@pytest.mark.parametrize(
    ("is_running", "has_heard", "chip_s", "expected"),
    [
        (False, False, None, None),
        (False, False, 0, None),
        (True, False, None, False),
        (True, False, 119, True),
        (True, False, -119, True),
        (True, False, 122, False),
        # A chip without a battery begins in 1970.
        (True, False, -1_790_000_000, False),
        (True, True, None, True),
        (True, True, -1_790_000_000, True),
    ],
)
def test_a_clock_is_known_to_be_set_by_the_network_or_a_chip(
    tmp_path: Path, is_running: bool, has_heard: bool, chip_s: int | None, expected: bool | None
) -> None:
    timesync, chips = tmp_path / "timesync", tmp_path / "rtc"
    if is_running:
        timesync.mkdir()
    if has_heard:
        (timesync / "synchronized").touch()
    if chip_s is not None:
        (chips / "rtc0").mkdir(parents=True)
        (chips / "rtc0" / "since_epoch").write_text(f"{1_790_000_000 + chip_s}\n")
    assert is_set(timesync, chips, lambda: 1_790_000_000.5) is expected


class Machine:
    def __init__(self, known_us: int | None, wall_us: int = START_US, is_set: bool | None = None) -> None:
        self.wall_us, self.now_s, self.is_set = wall_us, 0.0, is_set
        clock = Clock(wall=lambda: self.wall_us)
        self.time = Timekeeping(clock, known_us, knows=lambda: self.is_set, monotonic=lambda: self.now_s)

    def passes(self, seconds: float) -> list[bool]:
        """Time passes, second by second; what `turn` said."""
        said = []
        for _ in range(round(seconds)):
            self.now_s += 1
            self.wall_us += SECOND
            self.time.clock.now_us()
            said.append(self.time.turn())
        return said


def test_a_clock_that_is_right_is_trusted_and_needs_no_note() -> None:
    machine = Machine(START_US - SECOND)
    assert machine.time.trust() == Trust(0, False)
    assert machine.time.note() == ""
    assert not any(machine.passes(300))
    assert machine.time.begun_us() == START_US


@pytest.mark.parametrize(("ahead_us", "is_doubted"), [(2 * SECOND, False), (2 * SECOND + 1, True)])
def test_a_clock_is_doubted_that_is_behind_what_was_recorded(ahead_us: int, is_doubted: bool) -> None:
    machine = Machine(START_US + ahead_us)
    assert machine.time.trust() == Trust(ahead_us, is_doubted)
    assert (machine.time.begun_us() is None) is is_doubted


def test_one_that_has_never_been_set_begins_no_earlier_than_the_program() -> None:
    machine = Machine(None, wall_us=0)
    assert machine.time.clock.now_us() == 1_767_225_600 * SECOND
    assert machine.time.is_doubted


def test_it_is_right_when_the_network_has_told_the_time(caplog: pytest.LogCaptureFixture) -> None:
    machine = Machine(START_US, wall_us=START_US - 3600 * SECOND, is_set=False)
    machine.passes(60)
    assert Clock.of_note(machine.time.note(), lambda: machine.wall_us).now_us() == pytest.approx(
        machine.time.clock.now_us(), abs=SECOND
    )
    machine.wall_us, machine.is_set = START_US + 7200 * SECOND, True
    assert machine.passes(6).count(True) == 1
    assert machine.time.trust() == Trust(0, False)
    assert machine.time.begun_us() == START_US + 7140 * SECOND
    assert machine.time.note() == ""
    assert [record.levelname for record in caplog.records] == ["ERROR", "WARNING"]


def test_one_that_is_not_set_is_doubted_though_it_is_behind_nothing() -> None:
    machine = Machine(START_US, is_set=False)
    assert machine.time.trust() == Trust(0, True)
    machine.passes(60)
    assert machine.time.is_doubted
    machine.is_set = True
    machine.passes(6)
    assert not machine.time.is_doubted


def test_the_note_for_commands_follows_a_lead_that_shrinks() -> None:
    machine = Machine(START_US + 3600 * SECOND)
    assert machine.passes(600).count(True) == 10


def test_a_clock_that_runs_by_itself_is_never_doubted() -> None:
    clock = Clock(START_US, 120.0, lambda: 0)
    time = Timekeeping(clock, START_US + 3600 * SECOND, knows=lambda: False, monotonic=lambda: 0.0)
    assert time.clock is clock
    assert time.trust() == Trust(0, False)
