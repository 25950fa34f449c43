"""The night's fit in the service's loop: when it starts, what is recorded, and what stands if it fails."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.baselines import Failed, Fits, Nightly, Standing, next_refit_us, recorded_baselines, tasks_of
from collector.baselines.refit import Outcome
from collector.store import Store, StoreReader
from rules import HOUR_US, Learning, PoorFit, WeekProfile
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
        time_zone=ZONE,
        first_us=NOW_US,
        start=fit.start,
    )


@pytest.mark.parametrize(("at_us", "is_started"), [(NOW_US - 1, False), (NOW_US, True), (NOW_US + 1, True)])
def test_it_starts_when_it_is_due(at_us, is_started, store, tmp_path) -> None:
    fit = Scripted()
    assert nightly(store, tmp_path, fit).turn(at_us) == {}
    assert bool(fit.started) is is_started


def test_what_comes_of_it_is_recorded_as_applying_from_when_it_was_taken(store, tmp_path) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    # While it runs the loop goes on, and no second one is started.
    assert part.turn(NOW_US + 5) == {}
    assert fit.started == [NOW_US]
    fit.outcome = Fits(NOW_US, {0: PROFILE, 1: Learning(3), 2: PoorFit("width", 0.99, 2.0)}, {})
    taken_us = NOW_US + 20_000_000
    assert part.turn(taken_us) == {0: PROFILE, 1: None, 2: None}
    assert part.standing[1] == (Learning(3), NOW_US)
    with StoreReader(tmp_path / "brinebell.sqlite") as reader:
        ids = [reader.series_id(one.tank, one.name) for one in CONFIGURATION.series]
        versions, fitted_us = recorded_baselines(reader, ids, NOW_US)
    assert fitted_us == NOW_US
    assert [(one.applies_from_us, one.series, one.baseline) for one in versions] == [
        (taken_us, 0, PROFILE),
        (taken_us, 1, None),
        (taken_us, 2, None),
    ]
    assert part.due_us == next_refit_us(NOW_US, ZONE) == NOW_US + DAY_US


def test_a_fit_that_fails_leaves_what_stands_says_so_and_is_tried_again(store, tmp_path, caplog) -> None:
    fit = Scripted()
    standing = {0: Standing(PROFILE, NOW_US - DAY_US)}
    part = nightly(store, tmp_path, fit, standing)
    part.turn(NOW_US)
    fit.outcome = Failed("it was not done after 600 s")
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US + 1) == {}
    assert "what stood stands: it was not done after 600 s" in caplog.text
    assert part.standing == standing
    assert part.due_us == NOW_US + 1 + HOUR_US


def test_a_series_that_cannot_be_fitted_keeps_what_it_had_and_the_others_go_on(
    store, tmp_path, caplog
) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit, {0: Standing(PROFILE, 1)})
    part.turn(NOW_US)
    fit.outcome = Fits(NOW_US, {1: Learning(4)}, {0: "LinAlgError: did not converge"})
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US + 1) == {1: None}
    assert "LinAlgError: did not converge" in caplog.text
    assert part.standing == {0: (PROFILE, 1), 1: (Learning(4), NOW_US)}


def test_a_store_that_refuses_leaves_what_stands(store, tmp_path, caplog) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    fit.outcome = Fits(NOW_US, {0: PROFILE}, {})
    store.close()
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US + 1) == {}
    assert "what stood stands" in caplog.text
    assert part.standing == {}


def test_no_memory_for_a_process_is_no_end_of_the_service(store, tmp_path, caplog) -> None:
    def start(*_: object) -> Scripted:
        raise OSError("Cannot allocate memory")

    fit = Scripted()
    fit.start = start  # type: ignore[method-assign]
    part = nightly(store, tmp_path, fit)
    with caplog.at_level(logging.WARNING):
        assert part.turn(NOW_US) == {}
    assert "Cannot allocate memory" in caplog.text
    assert part.due_us == NOW_US + HOUR_US


def test_a_fit_that_runs_is_ended_with_the_service(store, tmp_path) -> None:
    fit = Scripted()
    part = nightly(store, tmp_path, fit)
    part.turn(NOW_US)
    part.close()
    assert fit.is_closed
