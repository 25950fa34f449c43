"""Probe drifting: a value that parts slowly from what explains it, while the water does not.

Watches temperature, pH and salinity in three ways. Against a second probe of the same water: of two that
part company, the one that has left its own usual course is wrong. Against its baseline: the residual of three
days gathers on one side (CUSUM), by a slope and not by a step, and the day cycle is kept. Against physics:
salinity does not rise by itself while the level is held, for only fresh water evaporates. What temperature
does alone says nothing: its water may be as warm as that. Rivals: room air that changes pH, a leak or a dead
top-off, warm days. First: compare with a second instrument, then calibrate.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.faults.probe import SALT, word_of
from rules.hours import Drift
from rules.look import Look, TankLook
from rules.setup import HOUR_US

_NEIGHBORS = {
    role: other
    for role in ("temperature", "ph", "practical_salinity")
    for role, other in ((role, f"{role}_2"), (f"{role}_2", role))
}
# A chart of three days rings at 1; from here on it is worth a closer look.
_GATE = 0.6
# A slope must explain this share of the level over the look-back, a step no more than that.
_SLOPE_SHARE = 0.35
_STEP_SHARE = 0.5
_LOOK_BACK_HOURS = 72
# What is no more than this of the band, or this many last digits, is no drift yet.
_BAND_SHARE = 0.4
_DIGITS = 1.5
# The day cycle is kept where its slope over the usual one is at least this.
_CYCLE_KEPT = 0.5
_NOISES_APART = 6.0
# What a single series is believed.
_ALONE = {"ph": 0.6, "practical_salinity": 0.6, "temperature": 0.4}


@dataclass(frozen=True, slots=True)
class ProbeDrifting:
    """See the module."""

    code: str = "probe_drifting"
    roles: tuple[str, ...] = ()
    quantities: tuple[str, ...] = ("temperature", "ph", *SALT)
    equipment: frozenset[str] = frozenset()
    hears_silence: bool = False
    priority: Priority = Priority.LOW
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "least_temperature",
            "difference",
            0.2,
            "how far two thermometers must part, or one leave its course; good ones agree to 0.1 degC",
            "temperature",
        ),
        Parameter(
            "least_ph",
            "difference",
            0.08,
            "the same for pH; a drift of 0.1 a month asks for a calibration",
            "ph",
        ),
        Parameter(
            "least_salinity",
            "difference",
            0.4,
            "the same for salinity; 0.5 is what a hobby probe is good for",
            "practical_salinity",
        ),
        Parameter("on_delay", "duration", 2 * HOUR_US, "what drifts for days is told a little later"),
        Parameter("off_delay", "duration", 6 * HOUR_US, "a calibration ends it at once, but is looked at"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if not subject.is_known:
            return None
        band = subject.band
        if band is None:
            return None
        away = subject.value - band.centre
        if abs(away) < 0.15 * (band.high - band.low):
            return NORMAL
        role = tank.role_of(subject.name)
        if role == "room_temperature":
            return NORMAL
        other = tank.known(_NEIGHBORS.get(role or "", ""))
        if other is not None and other.band is not None:
            return self._beside(subject, other, tank, setting)
        return self._alone(subject, tank, setting)

    def _beside(self, subject: Look, other: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding:
        """Two probes of one water: have they parted, and is it this one?"""
        mine, its = subject.band, other.band
        least = _least(subject, setting)
        if mine is None or its is None or least is None:
            return NORMAL
        if abs((subject.value - mine.centre) - (other.value - its.centre)) < 0.6 * least:
            return NORMAL
        # Over hours, for a probe in the sump follows the heater sooner than one in the display.
        apart = [
            a - b
            for a, b in zip(subject.hours.residuals[-6:], other.hours.residuals[-6:], strict=True)
            if a == a and b == b
        ]
        if len(apart) < 4:
            return NORMAL
        apart.sort()
        gap = apart[len(apart) // 2]
        own = _middle(subject.hours.residuals[-6:])
        theirs = _middle(other.hours.residuals[-6:])
        if abs(own) <= abs(theirs):
            return NORMAL
        noise = subject.noise_of_level + other.noise_of_level
        least = max(least, _NOISES_APART * noise / 2.0)
        sure = 0.5 * ramp(abs(gap), 0.6 * least, least) + 0.3 * ramp(abs(gap), least, 2.0 * least)
        # It is this one the surer, the less the other has left its course.
        if sure >= 0.5:
            sure *= 0.8 + 0.2 * ramp(abs(own) - abs(theirs), 0.0, 0.5 * abs(gap))
            sure = max(sure, 0.5)
        reasons = (
            Reason(Sign.NEIGHBOR, other.name, gap, window_us=6 * HOUR_US),
            Reason(Sign.BAND, subject.name, subject.value, mine.low, mine.high),
        )
        return _found(sure, reasons, subject, tank, own, (other.name,))

    def _alone(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding:
        """One probe: has it left its course slowly, and does nothing else explain that?"""
        drift = subject.drift()
        least = _least(subject, setting)
        band = subject.band
        if drift is None or least is None or band is None:
            return NORMAL
        strength = max(drift.high, drift.low)
        if strength < _GATE:
            return NORMAL
        is_up = drift.high >= drift.low
        size = drift.level if is_up else -drift.level
        least = max(least, _DIGITS * subject.habits.resolution, _BAND_SHARE * (band.high - band.low))
        if size < 0.6 * least or not _is_gradual(drift, is_up=is_up):
            return NORMAL
        follows = subject.hours.follows(48)
        if subject.series.quantity == "ph" and follows < _CYCLE_KEPT:
            return NORMAL
        sure = _ALONE.get(subject.series.quantity, 0.55)
        sure *= ramp(strength, 0.2, 1.0) * ramp(size, 0.2 * least, least)
        reasons = [
            Reason(
                Sign.DRIFT,
                subject.name,
                drift.level,
                band.low - band.centre,
                band.high - band.centre,
                drift.since_us,
            )
        ]
        if subject.series.quantity in SALT:
            sure += self._by_balance(reasons, tank, is_up=is_up)
        return _found(sure, tuple(reasons), subject, tank, drift.level, ())

    def _by_balance(self, reasons: list[Reason], tank: TankLook, *, is_up: bool) -> float:
        """What the level says of salinity: water that came or went explains it, a held level does not."""
        level = tank.known("sump_level")
        if level is None or level.band is None or not tank.has("top_off"):
            # Nothing holds the level, so salinity goes its own ways.
            return -0.2
        beyond = level.below_usual() if is_up else level.above_usual()
        is_held = beyond < 0.0
        reasons.append(
            Reason(
                Sign.LEVEL,
                level.name,
                level.value,
                level.band.low,
                level.band.high,
                speaks_against=not is_held,
            )
        )
        return 0.1 if is_held else -0.3


def _least(subject: Look, setting: Mapping[str, float]) -> float | None:
    quantity = subject.series.quantity
    if quantity == "temperature":
        return setting["least_temperature"]
    if quantity == "ph":
        return setting["least_ph"]
    if quantity == "practical_salinity":
        return setting["least_salinity"]
    band = subject.band
    # Conductivity in its own unit: as much of it as the least salinity is of sea water.
    return None if band is None else abs(band.centre) * setting["least_salinity"] / 35.0


def _is_gradual(drift: Drift, *, is_up: bool) -> bool:
    sign = 1.0 if is_up else -1.0
    moved = sign * drift.slope.median * _LOOK_BACK_HOURS
    if not moved >= _SLOPE_SHARE * sign * drift.level:
        return False
    return drift.step is None or abs(drift.step.size) < _STEP_SHARE * abs(drift.level)


def _middle(values: list[float]) -> float:
    known = sorted(value for value in values if value == value)
    return known[len(known) // 2] if known else 0.0


def _found(
    sure: float,
    reasons: tuple[Reason, ...],
    subject: Look,
    tank: TankLook,
    away: float,
    concerns: tuple[str, ...],
) -> Finding:
    side = "high" if away > 0.0 else "low"
    return Finding(
        min(0.9, max(0.0, sure)), reasons, frozenset({f"{word_of(subject, tank)}_{side}"}), concerns
    )


FAULT = ProbeDrifting()
