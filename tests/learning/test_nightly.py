"""The night's fit in the service's loop: when it starts, what is recorded, and what stands if it fails."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.learning import (
    Failed,
    Fits,
    HeatStanding,
    Learned,
    Nightly,
    Standing,
    TankTask,
    Tasks,
    first_refits_us,
    next_refit_us,
    recorded_versions,
    tasks_of,
)
from collector.learning.refit import Outcome
from collector.store import Store, StoreReader
from rules import HOUR_US, HeatModel, Learning, NotFitted, PoorFit, WeekProfile
from tests.wording.example import configuration

DAY_US = 24 * HOUR_US
CONFIGURATION = configuration()
ZONE = "Europe/Madrid"
NOW_US = next_refit_us(20_000 * DAY_US, ZONE)
PROFILE = WeekProfile(ZONE, ((25.0,) * 96,), (0.2,) * 96, 0.99, "level", 0.0, 28)


class Scripted:
    """A fit whose outcome is said beforehand and comes when told: what `Refit` is to the loop."""

    def __init__(self) -> None:
        self.started: list[int] = []
        self.outcome: Outcome | None = None
        self.is_closed = False

    def start(self, _path: Path, _tasks: object, now_us: int) -> Scripted:
        self.started.append(now_us)
        self.outcome = None
        return self

    def close(self) -> None:
        self.is_closed = True


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "brinebell.sqlite", synchronous="OFF") as opened:
        opened.register(CONFIGURATION.series)
        yield opened


def nightly(store: Store, path: Path, fit: Scripted, standing: dict[int, Standing] | None = None) -> Nightly:
    ids = list(range(1, len(CONFIGURATION.series) + 1))
    return Nightly(
        path / "brinebell.sqlite",
        store,
        tasks_of(CONFIGURATION, ids),
        standing or {},
        first_us={ZONE: NOW_US},
        start=fit.start,
    )


@pytest.mark.parametrize(("at_us", "is_started"), [(NOW_US - 1, False), (NOW_US, True), (NOW_US + 1, True)])
def test_it_starts_when_it_is_due(at_us, is_started, store, tmp_path) -> None:
    fit = Scripted()
    assert nightly(store, tmp_path, fit).turn(at_us) is None
    assert bool(fit.started) is is_started


def test_what_comes_of_it_is_recorded_as_applying_from_when_it_was_taken(store, tmp_path) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    # While it runs the loop goes on, and no second one is started.
    assert part.turn(NOW_US + 5) is None
    assert fit.started == [NOW_US]
    fit.outcome = Fits(NOW_US, {0: PROFILE, 1: Learning(3), 2: PoorFit("width", 0.99, 2.0)}, {})
    taken_us = NOW_US + 20_000_000
    assert part.turn(taken_us) == Learned({0: PROFILE, 1: None, 2: None})
    assert part.standing[1] == (Learning(3), NOW_US)
    with StoreReader(tmp_path / "brinebell.sqlite") as reader:
        ids = [reader.series_id(one.tank, one.name) for one in CONFIGURATION.series]
        versions = recorded_versions(reader, ids, NOW_US)
    assert [(one.applies_from_us, one.series, one.baseline) for one in versions] == [
        (taken_us, 0, PROFILE),
        (taken_us, 1, None),
        (taken_us, 2, None),
    ]
    assert part.due_us == {ZONE: next_refit_us(NOW_US, ZONE)} == {ZONE: NOW_US + DAY_US}


def test_a_fit_that_fails_leaves_what_stands_says_so_and_is_tried_again(store, tmp_path, caplog) -> None:
    fit = Scripted()
    standing = {0: Standing(PROFILE, NOW_US - DAY_US)}
    part = nightly(store, tmp_path, fit, standing)
    part.turn(NOW_US)
    fit.outcome = Failed("it was not done after 600 s")
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US + 1) is None
    assert "what stood stands: it was not done after 600 s" in caplog.text
    assert part.standing == standing
    assert part.due_us == {ZONE: NOW_US + 1 + HOUR_US}


def test_a_series_that_cannot_be_fitted_keeps_what_it_had_and_the_others_go_on(
    store, tmp_path, caplog
) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit, {0: Standing(PROFILE, 1)})
    part.turn(NOW_US)
    fit.outcome = Fits(NOW_US, {1: Learning(4)}, {0: "LinAlgError: did not converge"})
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US + 1) == Learned({1: None})
    assert "LinAlgError: did not converge" in caplog.text
    assert part.standing == {0: (PROFILE, 1), 1: (Learning(4), NOW_US)}


def test_a_store_that_refuses_leaves_what_stands(store, tmp_path, caplog) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    fit.outcome = Fits(NOW_US, {0: PROFILE}, {})
    store.close()
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US + 1) is None
    assert "what stood stands" in caplog.text
    assert part.standing == {}


def test_no_memory_for_a_process_is_no_end_of_the_service(store, tmp_path, caplog) -> None:
    def start(*_: object) -> Scripted:
        raise OSError("Cannot allocate memory")

    fit = Scripted()
    fit.start = start  # type: ignore[method-assign]
    part = nightly(store, tmp_path, fit)
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US) is None
    assert "Cannot allocate memory" in caplog.text
    assert part.due_us == {ZONE: NOW_US + HOUR_US}


def test_a_fit_that_runs_is_ended_with_the_service(store, tmp_path) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    part.close()
    assert fit.is_closed


# -- the heat of tanks, and tanks in other time zones --------------------------------------------------

MODEL = HeatModel(14.0, 0.02, (0.0,) * 24, time_constant_hours=22.7)


def test_a_model_of_a_tank_is_recorded_and_judges_from_when_it_was_taken(store, tmp_path) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    fit.outcome = Fits(NOW_US, {}, {}, {"tank0": MODEL, "other": NotFitted("no history yet")})
    assert part.turn(NOW_US + 7) == Learned({}, {"tank0": MODEL, "other": None})
    with StoreReader(tmp_path / "brinebell.sqlite") as reader:
        assert recorded_versions(reader, (), NOW_US) == [
            (NOW_US + 7, "tank0", MODEL),
            (NOW_US + 7, "other", None),
        ]


def test_a_tank_that_cannot_be_fitted_keeps_its_model_and_it_is_said(store, tmp_path, caplog) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    fit.outcome = Fits(NOW_US, {0: PROFILE}, {}, {}, {"tank0": "LinAlgError: did not converge"})
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US + 1) == Learned({0: PROFILE})
    assert "the heat of tank0 could not be fitted, what stood stands: LinAlgError" in caplog.text


ZONES = ("America/Chicago", "Asia/Tokyo")


def tanks_apart() -> Tasks:
    return Tasks(tanks=tuple(TankTask(zone, zone, 1, None, None, None) for zone in ZONES))


def test_each_tank_is_fitted_in_its_own_night(store, tmp_path) -> None:
    asked: list[Tasks] = []
    fit = Scripted()

    def start(path: Path, tasks: Tasks, now_us: int) -> Scripted:
        asked.append(tasks)
        return fit.start(path, tasks, now_us)

    first_us = {zone: next_refit_us(NOW_US, zone) for zone in ZONES}
    part = Nightly(tmp_path / "brinebell.sqlite", store, tanks_apart(), {}, first_us=first_us, start=start)
    for zone in sorted(ZONES, key=first_us.__getitem__):
        due_us = first_us[zone]
        assert part.turn(due_us - 1) is None
        assert part.turn(due_us) is None
        assert [task.tank for task in asked.pop().tanks] == [zone]
        fit.outcome = Fits(due_us, {}, {}, {zone: MODEL})
        assert part.turn(due_us + 1) == Learned({}, {zone: MODEL})
    assert part.due_us == {zone: at_us + DAY_US for zone, at_us in first_us.items()}
    assert asked == []


def test_a_start_fits_in_the_night_after_the_last_fit_and_at_once_where_there_was_none() -> None:
    tokyo = {"Asia/Tokyo": HeatStanding(MODEL, NOW_US)}
    found = first_refits_us(tanks_apart(), {}, tokyo, NOW_US + 3 * DAY_US, recorded_us=(0, DAY_US))
    assert found == {
        "America/Chicago": NOW_US + 3 * DAY_US,
        "Asia/Tokyo": next_refit_us(NOW_US, "Asia/Tokyo"),
    }


@pytest.mark.parametrize("recorded_us", [None, (NOW_US - DAY_US + 1, NOW_US)], ids=["none", "under a day"])
def test_where_nothing_can_be_learned_yet_a_start_leaves_it_to_the_night(
    recorded_us: tuple[int, int] | None,
) -> None:
    new = first_refits_us(tanks_apart(), {}, {}, NOW_US, recorded_us=recorded_us)
    assert new == {zone: next_refit_us(NOW_US, zone) for zone in ZONES}
