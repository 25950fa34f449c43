"""How salinity moves: a steady fall or rise, beyond what a healthy probe wanders by, and no step."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from rules.hours import RECENT_HOURS, Hours
from rules.known import in_order
from rules.look import Look, TankLook
from rules.trace import HOUR_CELLS, NAN

# Share of the volume that evaporates in a day at most without being odd (common practice, no source).
GREATEST_USUAL_SHARE = 0.02
# Hours over which a move of salinity is looked for.
_WINDOWS = (1, 2, 4, 8, 16, 24, 48)
# What a healthy probe's reading moves by within an hour, and how that grows with the window: from two
# dozen months of probes that wander as those of a coastal observatory do.
_WANDER_OF_AN_HOUR = 0.25
_WANDER_GROWS = 0.25
_LEAST_NOISES = 4.0
_BINS = 12
# What happens within two of twelve bins is a step: a calibration, a water change, a probe in air.
_STEP_SHARE = 0.6


# A probe that shows less than this is in air or in a glass of fresh water: no tank is diluted to a third.
_LEAST_SALINITY = 10.0


class SaltMove(NamedTuple):
    """A move of salinity: by how much in how many hours, and as a share of what a probe does by itself."""

    size: float
    hours: int
    share: float


NO_MOVE = SaltMove(0.0, 1, 0.0)


def wander(hours: float) -> float:
    """How far a healthy salinity probe wanders within so many hours."""
    return _WANDER_OF_AN_HOUR * math.pow(hours, _WANDER_GROWS)


def salt_move(salt: Look, *, is_fall: bool) -> SaltMove:
    """The clearest steady fall (or rise) of salinity over one of several windows."""
    sign = -1.0 if is_fall else 1.0
    hourly = [value for value in salt.hours.medians[-25:] if value == value]
    if not hourly or not salt.value > _LEAST_SALINITY:
        return NO_MOVE
    farthest = max(hourly) if is_fall else min(hourly)
    if sign * (salt.value - farthest) < 0.4 * wander(1):
        return NO_MOVE
    now = salt.level(30)
    noise = 0.7 * _LEAST_NOISES * salt.noise_of_level
    best = NO_MOVE
    for hours in _WINDOWS:
        size = sign * (now - salt.level(30 if hours < 8 else 60, 60 * hours))
        # A coarse probe may have shown half a digit more or less.
        share = (size - 0.5 * salt.habits.resolution) / max(wander(hours), noise)
        if share > best.share and size == size:
            best = SaltMove(size, hours, share)
    if best.share >= 0.4 and _is_step(salt.cells(60 * best.hours + 30), sign, best.size):
        return best._replace(share=0.3 * best.share)
    return best


def _is_step(cells: Sequence[float], sign: float, size: float) -> bool:
    width = max(1, len(cells) // _BINS)
    levels = []
    for start in range(0, len(cells) - width + 1, width):
        known = sorted(value for value in cells[start : start + width] if value == value)
        if known:
            levels.append(known[len(known) // 2])
    return any(
        sign * (after - before) > _STEP_SHARE * size
        for before, after in zip(levels, levels[2:], strict=False)
    )


def limewater_raises_ph(tank: TankLook) -> bool:
    """Whether pH lies above the usual in a tank whose top-off brings limewater: more of it than usual."""
    if not tank.has("limewater_stirrer"):
        return False
    ph = tank.known("ph")
    return ph is not None and ph.above_usual() > 0.03


def _usual_low(hours: Hours) -> float:
    known = in_order(hours.cells[: -RECENT_HOURS * HOUR_CELLS])
    return float(known[len(known) // 25]) if len(known) >= 24 else NAN


def is_below_usual(salt: Look, by: float) -> bool:
    """Whether salinity lies below where three days of refills have brought it."""
    return salt.level(15) < salt.hours.once(_usual_low) - by
