"""Two weeks of simulated history, put in the store through the real engine, so that baselines exist.

Day by day: the tank runs, the engine judges, one commit makes both durable. A tank that was watched all
along has such a store; nothing in it is made up for the demo.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from collector.configuration import Configuration
from collector.intake import Entry, Judge, Judged
from collector.readings import Mark
from collector.simulation import Recording, SimulatedTank
from collector.store import Commit, Store, Upkeep
from rules import HOUR_US, Engine, IncidentOpened

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
    judge = Judge(Engine(configuration.engine), {})
    series = {one.name: index for index, one in enumerate(configuration.series) if one.tank == tank_name}
    while tank.now_us < to_us:
        started_us = tank.now_us
        until_us = min(to_us, (started_us // _DAY_US + 1) * _DAY_US)
        entries = _entries(tank.record(until_us, every_us), series)
        tank.advance_to(until_us)
        # A day at once is what a backlog is: time follows the readings, and nobody listens yet.
        judged = judge.judge(entries, until_us)
        _refuse_incidents(judged)
        store.commit(
            Commit(
                committed_us=until_us,
                engine_us=judged.engine_us,
                rows=judged.rows,
                revised=judged.revised,
            )
        )
        progress(until_us - started_us)
    judged = judge.catch_up(to_us)
    _refuse_incidents(judged)
    store.commit(Commit(committed_us=to_us, engine_us=judged.engine_us, revised=judged.revised))
    Upkeep(store).catch_up(to_us)


def _refuse_incidents(judged: Judged) -> None:
    for event in judged.events:
        if isinstance(event, IncidentOpened):
            raise RuntimeError(f"the simulated history is not quiet: {event.incident}")


def _entries(recording: Recording, series: dict[str, int]) -> list[Entry]:
    """The readings of a recording in order of time, as they would have arrived."""
    columns = [
        (series[name], column.tolist()) for name, column in recording.columns.items() if name in series
    ]
    return [
        (time_us, index, column[row], int(Mark.NONE), 0, b"")
        for row, time_us in enumerate(recording.times_us.tolist())
        for index, column in columns
        if math.isfinite(column[row])
    ]
