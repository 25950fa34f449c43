"""A replay that learns each night learns what the service would have learned from its store."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.configuration import Configuration
from collector.payloads import state_value
from collector.recordings import Recording, join, read_files
from collector.replay import Replay
from collector.replay.learner import Learner
from collector.settings import load_configuration
from collector.store import Commit, Store, StoreReader
from collector.units import converter
from rules import HOUR_US, Block, Flag

DATA = Path(__file__).parents[2] / "replay_data"
DAY_US = 24 * HOUR_US


@pytest.fixture(scope="module")
def configuration() -> Configuration:
    return load_configuration(DATA / "tank.toml", {})


def week(name: str, configuration: Configuration, weeks_earlier: int = 0) -> Recording:
    found = read_files([DATA / name], configuration, converter, state_value)
    return replace(found, times_us=found.times_us - weeks_earlier * 7 * DAY_US)


@pytest.fixture(scope="module")
def three_weeks(configuration: Configuration) -> Recording:
    """Two quiet weeks, then one in which salinity drifts."""
    return join([week("quiet", configuration, n) for n in (2, 1)] + [week("probe_drifting", configuration)])


def test_a_drift_shows_against_what_was_learned_and_not_without(configuration, three_weeks):
    with_it = Replay(configuration).recording(three_weeks, learns=True)
    assert [one.cause for one in with_it.incidents] == ["probe_drifting"]
    assert with_it.incidents[0].series == ("practical_salinity",)
    without = Replay(configuration).recording(three_weeks)
    assert "probe_drifting" not in [one.cause for one in without.incidents]


def test_it_asks_the_same_of_what_was_recorded_as_of_the_store(configuration, tmp_path):
    recording = week("heater_failed_off", configuration)
    chance = np.random.default_rng(5)
    flags = chance.choice([Flag.PASS, Flag.SUSPECT, Flag.FAIL], len(recording), p=[0.8, 0.1, 0.1])
    learner = Learner(configuration, ())
    with Store(tmp_path / "store.sqlite", synchronous="OFF") as store:
        ids = store.register(configuration.series)
        for start in range(0, len(recording), 997):
            cut = slice(start, start + 997)
            columns = recording.times_us[cut], recording.values[cut], recording.series[cut]
            learner.take(Block(*columns), [int(flag) for flag in flags[cut]])
            rows = [
                (series, at_us, value, int(flag), 0, 0, 0, b"")
                for at_us, value, series, flag in zip(
                    *(column.tolist() for column in columns), flags[cut], strict=True
                )
            ]
            end_us = int(columns[0][-1])
            store.commit(Commit(committed_us=end_us, engine_us=end_us, rows=rows))
        with StoreReader(tmp_path / "store.sqlite") as reader:
            last_us = int(recording.times_us[-1])
            for index, number in enumerate(ids):
                for days, count in ((28, 28 * 96 + 1), (90, 90)):
                    asked = last_us - days * DAY_US, last_us, count
                    own, stored = learner.buckets(index, *asked), reader.buckets(number, *asked)
                    assert own.starts_us.tolist() == stored.starts_us.tolist()
                    assert own.counts.tolist() == stored.counts.tolist()
                    for name in ("low", "mean", "high"):
                        np.testing.assert_allclose(getattr(own, name), getattr(stored, name), rtol=1e-12)


def test_it_learns_at_half_past_three_on_the_wall(configuration):
    learner = Learner(configuration, ())
    first_us = int(week("quiet", configuration).times_us[0])
    found = list(learner.refits_us(first_us, first_us + 3 * DAY_US))
    assert [(at_us - first_us) / HOUR_US for at_us in found] == [3.5, 27.5, 51.5]
