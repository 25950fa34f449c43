"""Faults of probes: what is shown, while the water stays what it was."""

from __future__ import annotations

import zlib

import numpy as np
import numpy.typing as npt

from collector.injection.scene import Scene, running
from rules import HOUR_US, IntArray

_NOISE_US = HOUR_US // 4
_DAY_HOURS = 24.0
# An electrode without its sample shows next to nothing within a minute.
_DRY_HOURS = 1.0 / 60.0


def _during(scene: Scene, times_us: IntArray) -> npt.NDArray[np.bool_]:
    during: npt.NDArray[np.bool_] = (times_us >= scene.how.from_us) & (times_us < scene.to_us)
    return during


def probe_stuck(scene: Scene, size: float) -> None:  # noqa: ARG001 - it sticks, or it does not
    """The last value stays."""
    times_us, shown = scene.of(scene.how.series)
    before = shown[max(0, int(np.searchsorted(times_us, scene.how.from_us)) - 1)]
    scene.show(scene.how.series, np.where(_during(scene, times_us), before, shown))


def probe_silent(scene: Scene, size: float) -> None:  # noqa: ARG001
    """Nothing arrives."""
    times_us, _ = scene.of(scene.how.series)
    scene.hide(scene.how.series, _during(scene, times_us))


def probe_noisy(scene: Scene, size: float) -> None:
    """The noise of the probe, `size` times as much; the same recording gets the same noise."""
    times_us, shown = scene.of(scene.how.series)
    noise = float(np.std(shown - running(times_us, shown, _NOISE_US)))
    stream = np.random.RandomState(zlib.crc32(f"{scene.how.series} {scene.how.from_us}".encode()))
    more = size * noise * stream.standard_normal(len(shown))
    scene.show(scene.how.series, shown + np.where(_during(scene, times_us), more, 0.0))


def probe_drifting(scene: Scene, size: float) -> None:
    """It goes away from the truth by `size` a day, in its unit, and is right again once repaired."""
    times_us, shown = scene.of(scene.how.series)
    lasted, _ = scene.hours(times_us)
    away = np.where(times_us < scene.to_us, size * lasted / _DAY_HOURS, 0.0)
    scene.show(scene.how.series, shown + away)


def probe_dry(scene: Scene, size: float) -> None:  # noqa: ARG001
    """A conductivity cell in air shows nothing, within a minute."""
    times_us, shown = scene.of(scene.how.series)
    lasted, _ = scene.hours(times_us)
    left = np.exp(-lasted / _DRY_HOURS)
    scene.show(scene.how.series, np.where(_during(scene, times_us), shown * left, shown))


def mains_power_lost(scene: Scene, size: float) -> None:  # noqa: ARG001
    """Nothing arrives of any probe: the boards are without power, too."""
    scene.is_kept[_during(scene, scene.times_us) & np.isin(scene.series, scene.own)] = False
