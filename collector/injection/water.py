"""Faults of water, by conservation of mass and salt: what came in or went, what it makes of each series."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from collector.errors import ConfigError
from collector.injection.how import EVAPORATION_A_DAY
from collector.injection.scene import Scene
from rules import FloatArray, IntArray, physics

# A usual top-off pump, L/h, and how long lamps and air take to bring pH back, h (common practice, no source).
_PUMP_LITRES_PER_HOUR = 10.0
_PH_HOURS = 9.0


def top_off_overdose(scene: Scene, size: float) -> None:
    """The pump gives `size` L/h beyond what evaporates, until its reservoir is empty."""
    litres = _available(scene)

    def surplus(times_us: IntArray) -> FloatArray:
        lasted, repaired = scene.hours(times_us)
        given = np.minimum(size * lasted, litres)
        # Afterwards the pump rests until the surplus has evaporated.
        return np.maximum(0.0, given - _evaporation(scene) * repaired)

    _fresh(scene, surplus)
    if scene.has("reservoir"):
        times_us, shown = scene.of("reservoir")
        given = np.minimum(size * scene.hours(times_us)[0], litres)
        spared = given - surplus(times_us)
        scene.show("reservoir", np.maximum(0.0, shown - given + spared))
    if scene.how.is_limewater and scene.has("ph"):
        times_us, shown = scene.of("ph")
        lasted, repaired = scene.hours(times_us)
        lasted = np.minimum(lasted, litres / size)
        level = float(np.median(shown))
        a_litre = physics.ph_after(scene.volume, 1.0, level) - level
        rise = a_litre * size * _PH_HOURS * -np.expm1(-lasted / _PH_HOURS) * np.exp(-repaired / _PH_HOURS)
        scene.show("ph", shown + rise)


def top_off_failed(scene: Scene, size: float) -> None:
    """Nothing replaces what evaporates: `size` L/h."""

    def missing(times_us: IntArray) -> FloatArray:
        lasted, repaired = scene.hours(times_us)
        return -np.maximum(0.0, size * lasted - _PUMP_LITRES_PER_HOUR * repaired)

    _fresh(scene, missing)
    if scene.has("reservoir"):
        times_us, shown = scene.of("reservoir")
        scene.show("reservoir", shown - missing(times_us))


def leak(scene: Scene, size: float) -> None:
    """The tank loses `size` L/h of its water; a top-off replaces it with fresh while its reservoir lasts."""
    litres = _available(scene) if "top_off" in scene.tank.rules.equipment else 0.0
    rate = min(size, _PUMP_LITRES_PER_HOUR) if litres else 0.0

    def replaced(times_us: IntArray) -> FloatArray:
        return np.minimum(rate * scene.hours(times_us)[0], litres)

    if scene.has("practical_salinity"):
        times_us, shown = scene.of("practical_salinity")
        # Salt goes with the water; what replaces it brings none.
        scene.show("practical_salinity", shown * np.exp(-replaced(times_us) / scene.volume))
    if scene.has("sump_level"):
        times_us, shown = scene.of("sump_level")
        gone = size * scene.hours(times_us)[0] - replaced(times_us)
        scene.show("sump_level", np.maximum(0.0, shown - gone * _litre_cm(scene)))
    if scene.has("reservoir"):
        times_us, shown = scene.of("reservoir")
        scene.show("reservoir", np.maximum(0.0, shown - replaced(times_us)))


def evaporation(volume_litres: float) -> float:
    """What a tank usually loses to the air, L/h."""
    return volume_litres * EVAPORATION_A_DAY / 24.0


def _evaporation(scene: Scene) -> float:
    return evaporation(scene.volume)


def _available(scene: Scene) -> float:
    """What the reservoir holds when the fault begins, L; plenty where nobody knows."""
    if not scene.has("reservoir"):
        return float("inf")
    times_us, shown = scene.of("reservoir")
    return float(np.interp(scene.how.from_us, times_us, shown))


def _fresh(scene: Scene, litres: Callable[[IntArray], FloatArray]) -> None:
    """Let fresh water come in (above 0) or evaporate: level and salinity follow."""
    if scene.has("practical_salinity"):
        times_us, shown = scene.of("practical_salinity")
        added = litres(times_us)
        places, where = np.unique(np.round(added, 2), return_inverse=True)
        factors = np.array([physics.salinity_after(scene.volume, 1.0, one) for one in places.tolist()])
        scene.show("practical_salinity", shown * factors[where])
    if scene.has("sump_level"):
        times_us, _ = scene.of("sump_level")
        course = scene.without_switching("sump_level") + litres(times_us) * _litre_cm(scene)
        scene.show("sump_level", np.maximum(0.0, course))


def _litre_cm(scene: Scene) -> float:
    if scene.how.litre_cm is None:
        raise ConfigError(
            "the recording holds a level: say by how much a litre raises it, such as --litre-raises '0.56 cm'"
        )
    return scene.how.litre_cm
