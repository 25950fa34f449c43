"""Two weeks of simulated history, put in the store through the real engine, so that baselines exist.

Day by day: the tank runs, the engine judges, one commit makes both durable. A tank that was watched all
along has such a store; nothing in it is made up for the demo.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from collector.configuration import Configuration
from collector.readings import Mark
from collector.simulation import Recording, SimulatedTank
from collector.store import Commit, Row, Store
from rules import HOUR_US, Block, Engine, IncidentOpened, IntArray

_DAY_US = 24 * HOUR_US


def put_history(
    store: Store,
    configuration: Configuration,
    tank: SimulatedTank,
    tank_name: str,
    *,
    to_us: int,
    every_us: int,
    progress: Callable[[int], object] = lambda _: None,
) -> None:
    """Run the tank from where it is up to, not including, `to_us` and store what its probes show.

    Series that the configuration does not have are left out.

    Parameters
    ----------
    progress
        Called with the microseconds of tank time just stored.

    Raises
    ------
    RuntimeError
        If anything rings in it: the history is meant to be quiet, so the tank or a rule is wrong.
    """
    store.register(configuration.series)
    engine = Engine(configuration.engine)
    series = {one.name: index for index, one in enumerate(configuration.series) if one.tank == tank_name}
    while tank.now_us < to_us:
        started_us = tank.now_us
        until_us = min(to_us, (started_us // _DAY_US + 1) * _DAY_US)
        block = _block(tank.record(until_us, every_us), series)
        tank.advance_to(until_us)
        outcome = engine.advance(block)
        for event in outcome.events:
            if isinstance(event, IncidentOpened):
                raise RuntimeError(f"the simulated history is not quiet: {event.incident}")
        rows: list[Row] = [
            (index, time_us, value, primary, int(Mark.NONE), 0, tests, b"")
            for index, time_us, value, primary, tests in zip(
                block.series.tolist(),
                block.times_us.tolist(),
                block.values.tolist(),
                outcome.primary,
                outcome.tests,
                strict=True,
            )
        ]
        newest_us = int(block.times_us[-1]) if rows else until_us
        store.commit(
            Commit(
                committed_us=newest_us,
                engine_us=newest_us,
                rows=rows,
                revised=outcome.revised,
            )
        )
        progress(until_us - started_us)


def _block(recording: Recording, series: dict[str, int]) -> Block:
    """The readings of a recording in order of time, as they would have arrived."""
    names = [name for name in recording.columns if name in series]
    times_us = np.repeat(recording.times_us, len(names))
    values = np.stack([recording.columns[name] for name in names], axis=1).reshape(-1)
    indexes: IntArray = np.tile(np.array([series[name] for name in names], np.int64), len(recording.times_us))
    shown = np.isfinite(values)
    return Block(times_us[shown], values[shown], indexes[shown])
