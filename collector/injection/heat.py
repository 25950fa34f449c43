"""Faults of heat, by the balance of one well-stirred body: dT/dt = gains - (T - room) / time constant.

The recording says where the tank stood; what the heater gave on average is what held it there. A fault adds
the difference to that: without heater the tank gets it no longer, with a stuck one it gets all there is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from collector.injection.how import HEATER_WATTS_PER_LITRE, USUAL_ROOM
from collector.injection.scene import Scene, running
from rules import HOUR_US, FloatArray, IntArray, physics

_MINUTE_US = HOUR_US // 60
_DAY_US = 24 * HOUR_US


def heater_effect(volume_litres: float, watts_per_litre: float = HEATER_WATTS_PER_LITRE) -> float:
    """How fast a heater at full power warms a tank that loses nothing, degC/h."""
    return watts_per_litre * volume_litres * 3600.0 / physics.heat_capacity(volume_litres)


def heater_failed_off(scene: Scene, size: float) -> None:  # noqa: ARG001 - there is no less than nothing
    """No heat."""
    _let(scene, lambda need: -need)


def heater_weak(scene: Scene, size: float) -> None:
    """A share of the heat, `size` from 0 to 1; where that is enough nothing changes."""
    full = heater_effect(scene.volume)
    _let(scene, lambda need: min(0.0, size * full - need))


def heater_stuck_on(scene: Scene, size: float) -> None:
    """All the heat, all the time: `size` is what it makes of the tank, degC/h."""
    _let(scene, lambda need: max(0.0, size - need), full=size)


def _let(scene: Scene, more: Callable[[float], float], *, full: float | None = None) -> None:
    """Add what a fault makes of the temperature until and after its repair.

    `more` is how much more heat the tank gets, degC/h, where it needed so much to stay where it stood.
    """
    times_us, values = scene.of("temperature")
    grid_us = np.arange(scene.how.from_us, scene.end_us + _MINUTE_US, _MINUTE_US, dtype=np.int64)
    time_constant = physics.usual_time_constant_hours(scene.volume)
    level = np.interp(grid_us, times_us, running(times_us, values, _DAY_US))
    # What held the tank where it stood, degC/h.
    needs = np.maximum(0.0, (level - _unheated(scene, grid_us)) / time_constant)
    full = heater_effect(scene.volume) if full is None else full
    offsets = np.zeros(len(grid_us))
    offset = 0.0
    for place, (at_us, need) in enumerate(zip(grid_us.tolist(), needs.tolist(), strict=True)):
        # Repaired, the heater brings a cold tank back, and rests in a warm one.
        repaired = max(0.0, full - need) if offset < 0.0 else -need
        gain = more(need) if at_us < scene.to_us else repaired
        step = (gain - offset / time_constant) / 60.0
        offset = offset + step if at_us < scene.to_us or abs(offset) > abs(step) else 0.0
        offsets[place] = offset
    shown = scene.without_switching("temperature") + np.interp(times_us, grid_us, offsets, left=0.0)
    # Behind the repair, once the water is back, it switches again as it did.
    is_back = (times_us >= scene.to_us) & (np.interp(times_us, grid_us, offsets) == 0.0)
    scene.show("temperature", np.where(is_back, values, shown))
    if scene.has("heater_power"):
        _show_power(scene)


def _unheated(scene: Scene, grid_us: IntArray) -> FloatArray:
    if scene.how.unheated is not None:
        return np.full(len(grid_us), scene.how.unheated)
    if scene.has("room_temperature"):
        times_us, room = scene.of("room_temperature")
        return np.interp(grid_us, times_us, room)
    return np.full(len(grid_us), USUAL_ROOM)


def _show_power(scene: Scene) -> None:
    times_us, watts = scene.of("heater_power")
    during = (times_us >= scene.how.from_us) & (times_us < scene.to_us)
    if scene.how.cause == "heater_failed_off":
        scene.show("heater_power", np.where(during, 0.0, watts))
    elif scene.how.cause == "heater_stuck_on":
        scene.show("heater_power", np.where(during, watts.max(), watts))
