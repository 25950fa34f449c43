"""What there is to fit in a night: the series that can have a usual band, and the tanks that hold water."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from collector.configuration import Configuration
from collector.learning.fitting import Task
from collector.learning.heat import TankTask
from rules import TWO_STATE, SeriesRules, roles_of


class Tasks(NamedTuple):
    """The series and the tanks to be fitted."""

    series: tuple[Task, ...] = ()
    tanks: tuple[TankTask, ...] = ()

    @property
    def zones(self) -> frozenset[str]:
        """The time zones in whose nights they are fitted."""
        return frozenset([one.time_zone for one in self.series] + [one.time_zone for one in self.tanks])

    def of_zones(self, zones: Collection[str]) -> Tasks:
        """Those of them whose night it is."""
        return Tasks(
            tuple(one for one in self.series if one.time_zone in zones),
            tuple(one for one in self.tanks if one.time_zone in zones),
        )


def tasks_of(configuration: Configuration, ids: Sequence[int]) -> Tasks:
    """What a fit can say something about; a contact or a state has no usual band.

    Parameters
    ----------
    ids
        In the store, of each series in the order of the configuration.
    """
    zones = {tank.name: tank.rules.time_zone for tank in configuration.tanks}
    series = configuration.engine.series
    known = {(rules.tank, rules.name): number for rules, number in zip(series, ids, strict=False)}
    tanks = []
    for tank in configuration.tanks:
        found = {role: known[tank.name, name] for role, name in roles_of(tank.rules, series).items()}
        if "temperature" in found:
            power = (found.get("heater_power"), found.get("chiller_power"))
            water, room = found["temperature"], found.get("room_temperature")
            tanks.append(TankTask(tank.name, tank.rules.time_zone, water, room, *power))
    return Tasks(
        tuple(
            Task(index, ids[index], rules.tank, rules.quantity, zones[rules.tank], _limits(rules))
            for index, rules in enumerate(series)
            if rules.quantity not in TWO_STATE
        ),
        tuple(tanks),
    )


def _limits(rules: SeriesRules) -> tuple[float, float] | None:
    """The nearest limits on both sides; None where one side has none."""
    low = [alarm.setpoint for alarm in rules.limit_alarms if not alarm.is_high]
    high = [alarm.setpoint for alarm in rules.limit_alarms if alarm.is_high]
    return (max(low), min(high)) if low and high else None
