"""A recording into which a fault is put: its series by role, and what time has passed."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from collector.configuration import Configuration, TankConfiguration
from collector.errors import ConfigError
from collector.injection.how import How
from collector.recordings import Recording
from rules import HOUR_US, FloatArray, IntArray, roles_of

_MINUTE_US = HOUR_US // 60
# What lies within a quarter of an hour is the probe's noise; what comes and goes within six is switching.
_NOISE_US = 15 * _MINUTE_US
_SWITCHING_US = 6 * HOUR_US
_BLEND_US = 30 * _MINUTE_US


class Scene:
    """Readings that are changed in place.

    Raises
    ------
    ConfigError
        If the tank has no volume, or the recording holds nothing of the fault's time.
    """

    def __init__(self, recording: Recording, configuration: Configuration, how: How) -> None:
        self.how = how
        self.tank: TankConfiguration = configuration.tank(how.tank)
        self.times_us = recording.times_us
        self.values = recording.values.copy()
        self.series = recording.series
        self.is_kept = np.ones(len(recording), bool)
        self._names = {one.name: i for i, one in enumerate(configuration.series) if one.tank == how.tank}
        self._roles = roles_of(self.tank.rules, configuration.engine.series)
        if not len(recording) or how.from_us >= int(recording.times_us[-1]):
            raise ConfigError("the recording is over before the fault begins: give an earlier time")
        if how.from_us < int(recording.times_us[0]):
            raise ConfigError("the fault begins before the recording: give a later time")
        self.end_us = int(recording.times_us[-1]) + 1
        self.to_us = self.end_us if how.to_us is None else min(how.to_us, self.end_us)

    @property
    def volume(self) -> float:
        """Of the tank, L."""
        if self.tank.rules.volume_litres is None:
            raise ConfigError(
                f'tanks.{self.tank.name}: volume is missing: this fault needs it, such as "400 L"'
            )
        return self.tank.rules.volume_litres

    @property
    def own(self) -> list[int]:
        """Indices of all series of the tank."""
        return list(self._names.values())

    def has(self, role: str) -> bool:
        """Whether the recording holds a series of that role, or of that name."""
        return len(self._rows(role)) > 0

    def name(self, role: str) -> str:
        """Name of the series of a role."""
        return self._roles.get(role, role)

    def _rows(self, role: str) -> IntArray:
        index = self._names.get(self.name(role), -1)
        return np.flatnonzero(self.series == index)

    def of(self, role: str) -> tuple[IntArray, FloatArray]:
        """Times and values of a series.

        Raises
        ------
        ConfigError
            If the recording does not hold it.
        """
        rows = self._rows(role)
        if not len(rows):
            raise ConfigError(
                f"{self.how.cause} needs {self.name(role)!r} of {self.tank.name}: the recording holds none"
            )
        return self.times_us[rows], self.values[rows]

    def show(self, role: str, values: FloatArray) -> None:
        """Let a probe show other values, with as many digits as it has shown so far."""
        rows = self._rows(role)
        digits = _digits(self.values[rows])
        if digits is not None:
            values = np.round(values, digits)
        before = self.times_us[rows] < self.how.from_us
        self.values[rows] = np.where(before, self.values[rows], values)

    def hide(self, role: str, is_hidden: npt.NDArray[np.bool_]) -> None:
        """Let a probe show nothing where a mask says so."""
        rows = self._rows(role)
        self.is_kept[rows[is_hidden]] = False

    def hours(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """For how many hours the fault has lasted at each instant, and for how many it has been repaired."""
        lasted = np.clip(times_us, self.how.from_us, self.to_us) - self.how.from_us
        repaired = np.maximum(times_us, self.to_us) - self.to_us
        return lasted / HOUR_US, repaired / HOUR_US

    def without_switching(self, role: str) -> FloatArray:
        """A series without what equipment makes it do from the fault on: its course, and its noise."""
        times_us, values = self.of(role)
        course = running(times_us, values, _SWITCHING_US)
        noise = values - running(times_us, values, _NOISE_US)
        after = np.clip((times_us - self.how.from_us) / _BLEND_US, 0.0, 1.0)
        return values * (1.0 - after) + (course + noise) * after

    def recorded(self) -> Recording:
        """What the probes would have shown."""
        kept = self.is_kept
        return Recording(self.times_us[kept], self.values[kept], self.series[kept])


def running(times_us: IntArray, values: FloatArray, width_us: int) -> FloatArray:
    """Mean of what lies within half a width to each side of each instant."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    first = np.searchsorted(times_us, times_us - width_us // 2, "left")
    last = np.searchsorted(times_us, times_us + width_us // 2, "right")
    means: FloatArray = (sums[last] - sums[first]) / (last - first)
    return means


def _digits(values: FloatArray) -> int | None:
    """Digits behind the point with which a probe shows its values; None where it shows more than four."""
    for digits in range(5):
        if np.allclose(values, np.round(values, digits), rtol=0.0, atol=1e-9):
            return digits
    return None
