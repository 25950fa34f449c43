"""Work that lasts longer than it was announced for: told once, halfway to the ring, while it matters."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from collector.notices import WORK_NOTE, WorkOver
from collector.notices.notice import Notice
from collector.wording import BODY_WORDS, TITLE_CHARACTERS, TITLE_WORDS
from collector.wording.overrun import overrun_words
from rules import (
    KINDS,
    AlarmKey,
    AlarmRaised,
    Block,
    Engine,
    EngineRules,
    LimitAlarm,
    PlannedWork,
    Priority,
    SeriesRules,
    Suppressed,
    TankRules,
)
from tests.intake.parts import configuration
from tests.telling.parts import HOUR, MINUTE, NOON
from tests.wording import example

# Feeding pauses settle for 20 minutes, water changes for 60.
PAUSE = PlannedWork("reef", "feeding_pause", NOON, NOON + 15 * MINUTE)
LEVEL = AlarmKey("reef", "temperature", "under_limit")


class Parts:
    def __init__(self, folder: Path) -> None:
        self.works: list[PlannedWork] = [PAUSE]
        self.suppressed: list[Suppressed] = []
        self.note: str | None = None
        self.configuration = configuration(folder)
        self.start()

    def start(self) -> None:
        self.over = WorkOver(self.note, self.configuration, lambda: self.works, lambda: self.suppressed)

    def turn(self, minute: int, *, is_catching_up: bool = False) -> Notice | None:
        said = self.over.turn(NOON + minute * MINUTE, is_connected=True, is_catching_up=is_catching_up)
        if said is None:
            return None
        self.note = said.notes[WORK_NOTE]
        return said.notice

    def stand(self, last_min: int, first_min: int = 5) -> None:
        self.suppressed = [
            Suppressed(LEVEL, NOON + first_min * MINUTE, NOON + last_min * MINUTE, PAUSE.settled_us)
        ]


@pytest.fixture
def parts(tmp_path: Path) -> Parts:
    return Parts(tmp_path)


def minutes_told(parts: Parts, last_min: int, until: int = 60) -> list[int]:
    told = []
    for minute in range(until):
        parts.stand(min(minute, last_min))
        if parts.turn(minute) is not None:
            told.append(minute)
    return told


@pytest.mark.parametrize(
    ("last_min", "told"), [(10, []), (14, []), (15, []), (16, [25]), (60, [25])], ids=str
)
def test_what_still_stands_halfway_through_the_settle_time_is_told_once(
    parts: Parts, last_min: int, told: list[int]
) -> None:
    """The pause ends at minute 15; what was seen last ten minutes before the look is taken for gone."""
    assert minutes_told(parts, last_min) == told


def test_nothing_is_told_during_the_work_or_of_what_began_before_it(parts: Parts) -> None:
    parts.stand(14)
    assert parts.turn(14) is None
    parts.stand(25, first_min=-5)
    assert parts.turn(25) is None


def test_work_that_is_begun_anew_is_told_of_at_its_own_end(parts: Parts) -> None:
    assert minutes_told(parts, 60, until=26) == [25]
    parts.works = [PlannedWork("reef", "feeding_pause", NOON, NOON + 55 * MINUTE)]
    assert minutes_told(parts, 90, until=90) == [65]


def test_a_restart_tells_it_no_second_time(parts: Parts) -> None:
    assert minutes_told(parts, 60, until=26) == [25]
    parts.start()
    assert minutes_told(parts, 60) == []


def test_a_backlog_is_waited_for(parts: Parts) -> None:
    parts.stand(26)
    assert parts.turn(26, is_catching_up=True) is None
    assert parts.turn(26) is not None


def test_it_says_what_rings_and_when_and_what_to_do(parts: Parts) -> None:
    parts.stand(25)
    notice = parts.turn(25)
    assert notice is not None
    assert notice.title == "Still at work? Feeding pause was over at 10:15"
    assert notice.body == (
        "Not back to normal: too low (temperature). It rings from 10:35 on. "
        'If you need longer: brinebell work begin feeding_pause --for "30 min"'
    )
    assert (notice.priority, notice.waits) == (Priority.LOW, False)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("tanks", [1, 2])
def test_the_words_keep_to_the_measure_of_every_message(kind: str, tanks: int) -> None:
    titles = ("Left half of the long reef in the cellar", "Right")[:tanks]
    settings = example.configuration(
        tank_titles=titles, series_title="Water behind the third baffle, new probe"
    )
    work = PlannedWork("tank0", kind, NOON - HOUR, NOON)
    causes = ("circulation_stopped", "under_limit", "probe_stuck", "mains_power_lost")
    alarms = [AlarmKey("tank0", name, cause) for cause in causes for name in ("temperature", "ph")]
    for count in range(1, len(alarms) + 1):
        words = overrun_words(work, alarms[:count], settings, NOON + 10 * MINUTE)
        assert len(words.title) <= TITLE_CHARACTERS
        assert len(words.title.split()) <= TITLE_WORDS
        assert len(words.body.split()) <= BODY_WORDS
        assert words.body.startswith("Not back to normal: ")


def test_what_is_told_is_what_the_engine_then_raises() -> None:
    """A limit that is crossed in a feeding pause and stays so: told at minute 25, rung from minute 35 on."""
    low = LimitAlarm(24.0, False, False, 0.2, 0, 0, Priority.HIGH)
    engine = Engine(
        EngineRules(
            (TankRules("reef"),),
            (SeriesRules("reef", "temperature", "water_level", limit_alarms=(low,)),),
        )
    )
    engine.plan_work([PAUSE])
    times_us = NOON + np.arange(-60, 41) * MINUTE
    values = np.where(times_us < NOON + 5 * MINUTE, 25.0, 20.0)
    rung = []
    for end_min in range(-60, 41):
        place = end_min + 60
        block = Block(times_us[place : place + 1], values[place : place + 1], np.zeros(1, np.int64))
        rung += [one for one in engine.advance(block).events if isinstance(one, AlarmRaised)]
        if end_min == 25:
            (standing,) = [one for one in engine.suppressed if one.alarm.cause == "under_limit"]
            seen_us = standing.first_us, standing.last_us, standing.to_us
            assert seen_us == (NOON + 5 * MINUTE, NOON + 25 * MINUTE, PAUSE.settled_us)
    assert [(one.alarm.cause, (one.at_us - NOON) // MINUTE) for one in rung] == [("under_limit", 35)]
