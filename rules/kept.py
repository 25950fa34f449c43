"""What an engine went through that no limit changes, kept so that other limits can be tried on it at once.

A look knows no limits, and a fault keeps nothing between steps. So what was looked at once, and what each
fault saw in it, stays true whatever the limits are; `rules.rerun` lets other limits come and go over it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from rules.blocks import FloatArray, IntArray
from rules.events import AlarmKey
from rules.fault_panel import Sight
from rules.look import Look, TankLook
from rules.planned_work import PlannedWork, Suppressed
from rules.staging import Staged
from rules.trend import kept_for_trend


class Water(NamedTuple):
    """Readings that limits see in a block, in order of time: what the sensor can give.

    Parameters
    ----------
    times_us, sequences, clocks_us
        Shape (n,) each: when it was observed, arrival number, and the engine's clock at its arrival.
    values
        Shape (n,), in the unit of the series.
    """

    times_us: IntArray
    sequences: IntArray
    clocks_us: IntArray
    values: FloatArray


class KeptStep(NamedTuple):
    """What was seen of a tank at a step.

    Parameters
    ----------
    step, tank
        Its number, and how the tank looked.
    sights
        What each fault saw, as `FaultWatch.sights`.
    settled
        Series that look otherwise behind planned work, by name.
    """

    step: int
    tank: TankLook
    sights: Mapping[int, Sight]
    settled: Mapping[str, Look]

    @property
    def concerns_idle(self) -> bool:
        """Whether it makes a difference where no fault is on, held or speaking."""
        return any(sight.concerns_idle for sight in self.sights.values())


@dataclass(slots=True)
class KeptBlock:
    """What came of one call of the engine.

    Parameters
    ----------
    works
        What was planned during it.
    clock_us
        The engine's clock at its end.
    water
        Series index -> readings; series that had none are not in it.
    staged
        Alarms that no limit and no fault raised.
    steps
        Those that were taken, in order.
    suppressed
        By design at its end, limits left out.
    """

    works: tuple[PlannedWork, ...]
    clock_us: int = 0
    water: dict[int, Water] = field(default_factory=dict)
    staged: list[Staged] = field(default_factory=list)
    steps: list[KeptStep] = field(default_factory=list)
    suppressed: tuple[Suppressed, ...] = ()


class Keeper:
    """Follows an engine and keeps what it went through, block by block."""

    def __init__(self) -> None:
        self.blocks: list[KeptBlock] = []
        self._block = KeptBlock(())
        # Alarms of limits.
        self._limits: set[AlarmKey] = set()

    def know(self, limits: Iterable[AlarmKey]) -> None:
        """Know which alarms are those of limits: they are not kept."""
        self._limits.update(limits)

    def plan_work(self, works: tuple[PlannedWork, ...]) -> None:
        """Take note of what is planned from now on."""
        self._block.works = works

    def see_water(
        self,
        series: int,
        times_us: list[int],
        values: list[float],
        sequences: list[int],
        clocks_us: list[int],
    ) -> None:
        """Keep readings that limits see; once a block and series."""
        self._block.water[series] = Water(
            np.array(times_us, np.int64),
            np.array(sequences, np.int64),
            np.array(clocks_us, np.int64),
            np.array(values, np.float64),
        )

    def stage(self, staged: Iterable[Staged]) -> None:
        """Keep alarms of series."""
        self._block.staged += [one for one in staged if one.event.alarm not in self._limits]

    def take_step(
        self, step: int, tank: TankLook, sights: Mapping[int, Sight], settled: Callable[[Look], Look]
    ) -> None:
        """Keep what was seen at a step; `settled` is how a series looks behind planned work."""
        looks = {name: kept_for_trend(look) for name, look in tank.series.items()}

        def kept(look: Look | None) -> Look | None:
            if look is None:
                return None
            return looks[look.name] if tank.series[look.name] is look else kept_for_trend(look)

        behind = {
            name: kept_for_trend(seen)
            for name, look in tank.series.items()
            if (seen := settled(look)) is not look
        }
        found = {number: one._replace(look=kept(one.look)) for number, one in sights.items()}
        self._block.steps.append(KeptStep(step, tank.with_series(looks), found, behind))

    def close(self, clock_us: int, suppressed: Iterable[Suppressed]) -> None:
        """End a block at the engine's clock, with what is suppressed by design then."""
        block = self._block
        block.clock_us = clock_us
        block.suppressed = tuple(one for one in suppressed if one.alarm not in self._limits)
        self.blocks.append(block)
        self._block = KeptBlock(block.works)
