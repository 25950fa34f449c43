"""Series computed from others: salinity from conductivity and temperature, pH at the water's temperature.

The intake hands every reading to `take`, and asks `derived` for what became due once it has handed over
all that arrived together. A derived reading has the time of the newer of its inputs, and its times only
grow; so whatever order two boards' backlogs come in, no instant is computed twice.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from collector.configuration import Configuration, SeriesConfiguration
from collector.errors import ConfigError
from collector.readings import Mark, Reading
from collector.units import is_compensated
from rules import HOUR_US, physics

# The other input of a derived reading may be this much older. A heater stuck on moves a tank by about
# 0.6 degC an hour: in 15 minutes that is 0.15 degC, which is 0.12 in salinity, below its deadband of 0.3.
# At an hour it would ring by itself; at a minute, boards that report every five minutes derive nothing.
OTHER_INPUT_US = HOUR_US // 4

# An electrode takes 0.004 pH per degC, so that half a day of the fastest change, 7 degC, costs 0.03 pH: below
# its deadband of 0.05, and better than a step to the temperature of calibration when a probe falls silent.
COMPENSATION_US = 12 * HOUR_US

# Readings remembered per input: 28 hours of one every 10 s, so that the backlog of one board finds what
# another one said meanwhile. At most 320 kB each.
REMEMBERED = 10_000

# A temperature outside this is no water's: it freezes below, and nothing of a reef lives above.
WATER_CELSIUS = (-2.0, 45.0)

_INHERITED = ~int(Mark.LATE)
_SPECIFIC_CELSIUS = 25.0


class History:
    """Times and values of one series in order of time; of equal times the first value stays."""

    __slots__ = ("_times_us", "_values")

    def __init__(self) -> None:
        self._times_us = array("q")
        self._values = array("d")

    def __len__(self) -> int:
        return len(self._times_us)

    def add(self, observed_us: int, value: float) -> None:
        """Remember a reading; the oldest are forgotten."""
        times_us = self._times_us
        if not times_us or observed_us > times_us[-1]:
            times_us.append(observed_us)
            self._values.append(value)
        else:
            position = bisect_left(times_us, observed_us)
            if times_us[position] == observed_us:
                return
            times_us.insert(position, observed_us)
            self._values.insert(position, value)
        if len(times_us) > 2 * REMEMBERED:
            del times_us[:-REMEMBERED], self._values[:-REMEMBERED]

    def near(self, at_us: int, oldest_us: int, newest_us: int) -> tuple[int, float] | None:
        """Return time and value of the newest reading in [oldest_us, at_us], else the next to newest_us."""
        position = bisect_right(self._times_us, at_us)
        if position and self._times_us[position - 1] >= oldest_us:
            return self._times_us[position - 1], self._values[position - 1]
        if position < len(self._times_us) and self._times_us[position] <= newest_us:
            return self._times_us[position], self._values[position]
        return None


@dataclass(slots=True)
class _Derived:
    """A derived series: its inputs, how it is computed, and when it was last."""

    inputs: tuple[History, ...]
    formula: Callable[..., float]
    newest_us: int = -(1 << 62)

    def compute(self, at_us: int) -> tuple[int, float] | None:
        """Compute from the inputs around an instant, unless that was done for a later one."""
        found = [
            history.near(at_us, at_us - OTHER_INPUT_US, at_us + OTHER_INPUT_US) for history in self.inputs
        ]
        readings = [reading for reading in found if reading is not None]
        observed_us = max((time_us for time_us, _ in readings), default=at_us)
        if len(readings) < len(found) or observed_us <= self.newest_us:
            return None
        value = self.formula(*(value for _, value in readings))
        if not math.isfinite(value):
            return None
        self.newest_us = observed_us
        return observed_us, value


@dataclass(slots=True)
class _Role:
    """What one series is to others: an input within bounds, derived, or to be compensated."""

    low: float
    high: float
    history: History = field(default_factory=History)
    feeds: list[int] = field(default_factory=list)
    temperature: History | None = None
    assumed: float = 25.0


class Derivations:
    """All series of a configuration that are computed from others.

    Raises
    ------
    ConfigError
        If a series is computed from one that it cannot be computed from.
    """

    def __init__(self, configuration: Configuration) -> None:
        self._configuration = configuration
        self._roles: list[_Role | None] = [None] * len(configuration.series)
        self._derived: dict[int, _Derived] = {}
        # Instant, derived series and marks of what is to be computed.
        self._due: list[tuple[int, int, int]] = []
        for index, series in enumerate(configuration.series):
            if series.derived_from is not None:
                self._add_derived(index, series)
            elif is_compensated(series):
                self._add_compensated(index, series)

    @property
    def concerned(self) -> frozenset[int]:
        """Indexes of the series whose stored readings `restore` wants, of the last `COMPENSATION_US`."""
        inputs = (
            index for index, role in enumerate(self._roles) if role is not None and role.temperature is None
        )
        return frozenset((*inputs, *self._derived))

    def take(self, series: int, observed_us: int, value: float, mark: int = 0) -> float:
        """Take note of a reading of any series, and return the value to be stored of it.

        Parameters
        ----------
        series
            Index in `Configuration.series`.
        observed_us
            Its time, microseconds since 1970 UTC.
        value
            As `collector.units.converter` made it.
        mark
            What is special about its time; readings derived from it inherit that.

        Returns
        -------
        float
            The value itself, or the pH at the temperature of the water where that is known.
        """
        role = self._roles[series]
        if role is None:
            return value
        if role.temperature is not None:
            return _compensated(role, role.temperature, observed_us, value)
        if role.low <= value <= role.high:
            role.history.add(observed_us, value)
            for derived in role.feeds:
                self._due.append((observed_us, derived, mark))
        return value

    def derived(self) -> list[Reading]:
        """Return what became due since the last call, in order of time."""
        if not self._due:
            return []
        due = sorted(self._due)
        self._due.clear()
        readings = []
        for at_us, index, mark in due:
            computed = self._derived[index].compute(at_us)
            if computed is not None:
                readings.append(Reading(index, *computed, Mark((mark & _INHERITED) | Mark.DERIVED)))
        return readings

    def restore(self, series: int, observed_us: int, value: float) -> None:
        """Take note of a stored reading after a restart; nothing becomes due by it."""
        derived = self._derived.get(series)
        if derived is not None:
            derived.newest_us = max(derived.newest_us, observed_us)
        role = self._roles[series]
        if role is not None and role.temperature is None and role.low <= value <= role.high:
            role.history.add(observed_us, value)

    # -- building ----------------------------------------------------------------------------------

    def _add_derived(self, index: int, series: SeriesConfiguration) -> None:
        source = self._index(series, "derived_from", series.derived_from or "")
        quantity = self._configuration.series[source].quantity
        if series.quantity != "practical_salinity" or quantity not in _FORMULAS:
            raise ConfigError(
                f"{series.tank}/{series.name}: a {series.quantity} cannot be derived from the {quantity} "
                f"{series.derived_from}; practical_salinity can, from {' or '.join(_FORMULAS)}"
            )
        others = [source]
        if quantity == "conductivity":
            others.append(self._thermometer(series))
        for other in others:
            self._role(other).feeds.append(index)
        self._derived[index] = _Derived(
            tuple(self._role(other).history for other in others), _FORMULAS[quantity]
        )

    def _add_compensated(self, index: int, series: SeriesConfiguration) -> None:
        if series.quantity != "ph" or series.calibration is None:
            raise ConfigError(
                f"{series.tank}/{series.name}: temperature_from needs derived_from (practical_salinity) or "
                "calibration (a ph that arrives as millivolts)"
            )
        role = self._role(index)
        role.temperature = self._role(self._thermometer(series)).history
        role.assumed = series.calibration.temperature_celsius

    def _thermometer(self, series: SeriesConfiguration) -> int:
        if series.temperature_from is None:
            raise ConfigError(f"{series.tank}/{series.name}: temperature_from is missing")
        index = self._index(series, "temperature_from", series.temperature_from)
        quantity = self._configuration.series[index].quantity
        if quantity != "temperature":
            raise ConfigError(
                f"{series.tank}/{series.name}: temperature_from {series.temperature_from} is a {quantity}"
            )
        return index

    def _index(self, series: SeriesConfiguration, key: str, name: str) -> int:
        try:
            return self._configuration.series_index(series.tank, name)
        except KeyError:
            raise ConfigError(
                f"{series.tank}/{series.name}: {key} names {name}, which is no series of tank {series.tank}"
            ) from None

    def _role(self, index: int) -> _Role:
        """The role of a series; a reading outside its sensor's range fails, and nothing is derived of it."""
        role = self._roles[index]
        if role is None:
            is_water = self._configuration.series[index].quantity == "temperature"
            low, high = WATER_CELSIUS if is_water else (0.0, math.inf)
            ranges = self._configuration.engine.series[index].gross_range
            if ranges is not None:
                low, high = max(low, ranges.sensor_low), min(high, ranges.sensor_high)
            role = self._roles[index] = _Role(low, high)
        return role


class Recorded(Protocol):
    """What is needed of the record: the newest reading of every series, and those of a range."""

    def latest(self) -> Sequence[Any]:
        """Each with `observed_us`."""
        ...

    def readings(self, series: int, start_us: int, end_us: int) -> Any:
        """Columns `times_us` and `values`."""
        ...


def restored_derivations(configuration: Configuration, record: Recorded, ids: Sequence[int]) -> Derivations:
    """Derivations that know the readings which new ones may be combined with; `ids` are of the series."""
    derivations = Derivations(configuration)
    newest_us = max((one.observed_us for one in record.latest()), default=0)
    for index in sorted(derivations.concerned):
        readings = record.readings(ids[index], newest_us - COMPENSATION_US, newest_us + 1)
        for observed_us, value in zip(readings.times_us.tolist(), readings.values.tolist(), strict=True):
            derivations.restore(index, observed_us, value)
    return derivations


def _compensated(role: _Role, temperature: History, observed_us: int, value: float) -> float:
    # Strictly before: a redelivered reading must not find the temperature that came with it.
    found = temperature.near(observed_us - 1, observed_us - COMPENSATION_US, observed_us + OTHER_INPUT_US)
    return value if found is None else physics.ph_at_temperature(value, role.assumed, found[1])


def _of_specific_conductance(conductivity: float) -> float:
    """Salinity of a conductivity that the probe referred to 25 degC by a rule of its own.

    With the usual linear 2 % per degC this is within 0.06 of salinity 35 from 22 to 30 degC (computed with
    gsw 3.6); a probe that tells the conductivity as measured does better.
    """
    return physics.practical_salinity(conductivity, _SPECIFIC_CELSIUS)


_FORMULAS: dict[str, Callable[..., float]] = {
    "conductivity": physics.practical_salinity,
    "specific_conductance": _of_specific_conductance,
}
