"""Mains power lost: what was cut off in its work or rests too long, and boards that fall silent together."""

from __future__ import annotations

import numpy as np
import pytest

from rules import (
    HOUR_US,
    KINDS,
    AlarmRaised,
    Block,
    Engine,
    EngineRules,
    PlannedWork,
    Priority,
    SeriesRules,
    Sign,
    TankRules,
)
from tests.rules.faults.plain_tank import FAULT, MINUTE_US, START_US, Plain, listen

POWERS = ("temperature", "heater_power", "return_pump_power")
EQUIPMENT = frozenset({"heater", "return_pump"})


def columns_with(heater_off_at: float, pump_off_at: float, back_at: float = np.inf) -> dict[str, np.ndarray]:
    """Powers of the plain tank, each zero from an hour after the fault on until both are back."""
    _, columns = Plain(hours=FAULT + 12.0).live()
    hours = np.arange(1, len(columns["heater_power"]) + 1) / 12.0 - FAULT
    for name, off_at in (("heater_power", heater_off_at), ("return_pump_power", pump_off_at)):
        columns[name] = np.where((hours >= off_at) & (hours < back_at), 0.0, columns[name])
    return {name: columns[name] for name in ("heater_power", "return_pump_power")}


def heating_from() -> float:
    """Hours after the fault at which the heater next begins to work, and works for half an hour."""
    _, columns = Plain(hours=FAULT + 12.0).live()
    power = columns["heater_power"]
    starts = [
        row
        for row in range(int(FAULT * 12) + 1, len(power) - 6)
        if power[row] > 0 and power[row - 1] == 0 and power[row + 2] > 0
    ]
    return (starts[0] + 1) / 12.0 - FAULT


@pytest.mark.parametrize(("minutes", "is_told"), [(35.0, False), (90.0, True)])
def test_loads_that_are_cut_off_in_their_work_together_tell_it_when_no_water_change_lasts_so_long(
    minutes, is_told
):
    at = heating_from() + 5 / 60
    told = listen(
        Plain(hours=FAULT + 12.0),
        POWERS,
        equipment=EQUIPMENT,
        changed=columns_with(at, at, at + minutes / 60),
    )
    assert ("mains_power_lost" in told.causes) is is_told
    if is_told:
        hours, event = told.first("mains_power_lost")
        assert 0.74 <= hours - at <= 1.0
        assert event.priority is Priority.URGENT
        assert {(one.sign, one.series) for one in event.evidence.reasons} == {
            (Sign.POWER, "heater_power"),
            (Sign.POWER, "return_pump_power"),
        }
        # What tells the two apart is asked in the message: a pump alone stands just so.
        assert "circulation_stopped" in [rival.cause for rival in event.evidence.rivals] + told.causes


@pytest.mark.parametrize("minutes", [10.0, 30.0, 50.0])
def test_a_pause_of_the_pump_while_the_heater_rests_is_none(minutes):
    """The heater has just gone off by itself: nothing cut it."""
    _, columns = Plain(hours=FAULT + 12.0).live()
    power = columns["heater_power"]
    row = next(row for row in range(int(FAULT * 12), len(power)) if power[row - 1] > 0 and power[row] == 0)
    at = (row + 1) / 12.0 - FAULT
    told = listen(
        Plain(hours=FAULT + 12.0),
        POWERS,
        equipment=EQUIPMENT,
        changed={
            "return_pump_power": columns_with(np.inf, at, at + minutes / 60)["return_pump_power"],
        },
    )
    assert "mains_power_lost" not in told.causes


def test_a_pump_that_fails_alone_is_no_matter_of_the_mains():
    told = listen(
        Plain(hours=FAULT + 12.0),
        POWERS,
        equipment=EQUIPMENT,
        changed={"return_pump_power": columns_with(np.inf, 0.1)["return_pump_power"]},
    )
    assert "circulation_stopped" in told.causes
    assert "mains_power_lost" not in told.causes


def test_what_is_unplugged_for_announced_work_is_the_work_and_what_stays_dark_behind_it_is_told():
    at = heating_from() + 5 / 60
    begin_us = round(START_US + (FAULT + at - 0.1) * HOUR_US)
    told = {}
    for hours in (1.4, 9.0):
        told[hours] = listen(
            Plain(hours=FAULT + 12.0),
            POWERS,
            equipment=EQUIPMENT,
            changed=columns_with(at, at, at + hours),
            works=[PlannedWork("reef", "water_change", begin_us, begin_us + HOUR_US)],
        )
    assert "mains_power_lost" not in told[1.4].causes
    hours, _ = told[9.0].first("mains_power_lost")
    # An hour of work, and an hour in which the water comes to rest.
    assert 1.9 <= hours - at <= 2.75


# -- boards that fall silent ---------------------------------------------------------------------------

BOARDS = {"sump": ("temperature", "sump_level"), "chemistry": ("ph", "practical_salinity")}
SERIES = tuple(name for names in BOARDS.values() for name in names)
QUANTITIES = {"temperature": "temperature", "sump_level": "water_level", "ph": "ph"}
VALUES = {"temperature": 25.5, "sump_level": 20.0, "ph": 8.1, "practical_salinity": 35.0}
HOURS = 30


def engine() -> Engine:
    series = tuple(SeriesRules("reef", name, QUANTITIES.get(name, name)) for name in SERIES)
    return Engine(EngineRules((TankRules("reef", "UTC", 400.0, EQUIPMENT, {}),), series))


def told_after(
    wills: dict[str, float], silent: tuple[str, ...], minutes: int = 30, work: str = ""
) -> list[tuple[str, float]]:
    """What is raised, and minutes after everything in `silent` was last heard; wills by board and minute."""
    heard = engine()
    begin_us = 1_772_409_600_000_000
    fails_us = begin_us + HOURS * HOUR_US
    rng = np.random.RandomState(3)
    events = []
    if work:
        heard.plan_work([PlannedWork("reef", work, fails_us - HOUR_US // 4, fails_us + 2 * HOUR_US)])
    for board in BOARDS:
        heard.board_changed(begin_us, "reef", board, BOARDS[board], True)
    words = sorted((fails_us + round(minute * MINUTE_US), board) for board, minute in wills.items())
    for minute in range(HOURS * 60 + minutes):
        at_us = begin_us + minute * MINUTE_US
        while words and words[0][0] <= at_us:
            word_us, board = words.pop(0)
            events += heard.board_changed(word_us, "reef", board, BOARDS[board], False)
        names = [name for name in SERIES if at_us < fails_us or name not in silent]
        if names:
            values = [VALUES[name] + 0.01 * rng.standard_normal() for name in names]
            index = [SERIES.index(name) for name in names]
            events += heard.advance(
                Block(np.full(len(names), at_us), np.array(values), np.array(index, np.int64))
            ).events
        else:
            events += heard.advance_to(at_us)
    return [
        (event.alarm.cause, (event.at_us - fails_us) / MINUTE_US)
        for event in events
        if isinstance(event, AlarmRaised)
    ]


def test_all_boards_gone_within_a_minute_are_told_as_lost_mains_and_not_as_boards_first():
    told = told_after({"sump": 1.0, "chemistry": 1.2}, SERIES)
    assert told[0][0] == "mains_power_lost"
    assert told[0][1] <= 10
    assert [cause for cause, _ in told if cause == "device_offline"] == ["device_offline"] * 2


@pytest.mark.parametrize("kind", KINDS)
def test_boards_that_fall_silent_during_work_are_told_all_the_same(kind):
    told = told_after({"sump": 1.0, "chemistry": 1.2}, SERIES, work=kind)
    assert told[0][0] == "mains_power_lost"


def test_one_board_that_is_gone_is_told_after_its_minute():
    told = told_after({"sump": 1.0}, BOARDS["sump"])
    assert told[0] == ("device_offline", 2.0)
    assert "mains_power_lost" not in [cause for cause, _ in told]


def test_a_board_that_goes_after_the_other_was_told_waits_for_a_look_at_the_tank():
    told = told_after({"sump": 1.0, "chemistry": 5.0}, SERIES)
    assert told[0] == ("device_offline", 2.0)
    assert "mains_power_lost" in [cause for cause, _ in told]


# A network that is away for ten minutes takes no will with it (common practice, no source).
@pytest.mark.parametrize(("minutes", "is_told"), [(14, False), (25, True)])
def test_silence_without_a_word_of_the_boards_must_last(minutes, is_told):
    told = told_after({}, SERIES, minutes)
    assert ("mains_power_lost" in [cause for cause, _ in told]) is is_told
