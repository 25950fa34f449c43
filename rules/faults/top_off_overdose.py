"""Top-off overdose: fresh water goes on coming in, and dilutes the tank.

Watches the sump's level; salinity, the reservoir and the power of the pump make it earlier and surer. A
switch that sticks or a siphon lifts the level steadily through its upper mark, and salinity falls. With
limewater in the top-off alkalinity and pH rise with it, which kills before the salt does. A return pump
that stops lifts the level at once and no further; a water change does and is over within the hour. Rivals:
circulation stopped, a leak that the top-off replaces. First: unplug the top-off, and do not let the sump
run over.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules import physics
from rules.events import Priority, Reason, Sign
from rules.faults import intake, salinity, sump
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.look import Look, TankLook
from rules.projection import Projection, project
from rules.setup import HOUR_US
from rules.trace import MINUTE_US

EXPLAINS = frozenset({"level_high", "salinity_low"})
EXPLAINS_WITH_LIME = EXPLAINS | {"ph_high"}
# Less than this a reservoir loses by its noise, L.
_LEAST_SIPHONED = 0.4
# So many minutes a pump must have rested to be no part of what the reservoir gave.
_LEAST_REST = 45
# The farthest that limewater is projected, h.
_FARTHEST_HOURS = 48


@dataclass(frozen=True, slots=True)
class TopOffOverdose:
    """See the module."""

    code: str = "top_off_overdose"
    roles: tuple[str, ...] = ("sump_level", "practical_salinity")
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset({"top_off"})
    hears_silence: bool = False
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "margin",
            "difference",
            0.2,
            "how far above the mark at which the top-off usually ends; waves and probes do less",
            "water_level",
        ),
        Parameter(
            "longest_runs",
            "number",
            3.0,
            "how many times the pump's longest run of three days is too long",
        ),
        Parameter(
            "on_delay", "duration", 15 * MINUTE_US, "a wave from a pump that starts again has settled by then"
        ),
        Parameter("off_delay", "duration", 30 * MINUTE_US, "the level must be back for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        del subject
        level = tank.known("sump_level")
        found = NORMAL
        power, reservoir = tank.known("top_off_power"), tank.known("reservoir")
        if power is not None and power.value > 0.0:
            found = self._by_run(power, level, tank, setting)
        if level is None:
            return found if power is not None else None
        usual = sump.usual_sump(level)
        margin = max(setting["margin"], 3.0 * level.noise_of_level, sump.LEAST_MARGIN)
        if level.value > usual.high + margin / 2:
            other = self._by_level(level, usual, margin, tank)
            if other.confidence > found.confidence:
                found = other
        if reservoir is not None and power is not None and not power.value > 0.0:
            other = self._by_siphon(reservoir, power, level, usual, tank)
            if other.confidence > found.confidence:
                found = other
        return found if found is NORMAL else self._with_outlook(found, tank)

    def _by_run(
        self, power: Look, level: Look | None, tank: TankLook, setting: Mapping[str, float]
    ) -> Finding:
        """The pump runs on, and the level is not low: so the water comes."""
        usual = intake.usual_pump(power)
        minutes = intake.run_minutes(power, usual)
        longest = usual.longest_run * 5
        if minutes <= longest * setting["longest_runs"] or minutes < 15:
            return NORMAL
        reasons: tuple[Reason, ...] = (
            Reason(Sign.POWER, power.name, power.value, since_us=power.end_us - minutes * MINUTE_US),
        )
        if level is None:
            return Finding(0.4, reasons, EXPLAINS, (power.name,))
        marks = sump.usual_sump(level)
        if not level.value > marks.high - 0.1 * (marks.high - marks.low) or sump.return_stands(tank):
            return NORMAL
        rise = level.slope(30).median
        if not rise > 0.0:
            return Finding(0.4, reasons, EXPLAINS, (power.name,))
        reasons += (Reason(Sign.LEVEL, level.name, level.value, marks.low, marks.high),)
        return Finding(0.85, reasons, EXPLAINS, (power.name,))

    def _by_siphon(
        self, reservoir: Look, power: Look, level: Look, usual: sump.SumpUsual, tank: TankLook
    ) -> Finding:
        """The reservoir falls while its pump rests."""
        before = reservoir.level(15, 225)
        if not before - reservoir.value > _LEAST_SIPHONED + intake.most_in(reservoir, _LEAST_REST / 60):
            return NORMAL
        pump = intake.usual_pump(power)
        minutes = intake.rest_minutes(power, pump)
        if minutes < _LEAST_REST:
            return NORMAL
        given = reservoir.level(15, minutes - 15) - reservoir.level(15)
        # Runs of the pump that are shorter than a cell do not show.
        least = max(_LEAST_SIPHONED, 8.0 * reservoir.noise_of_level) + intake.most_in(reservoir, minutes / 60)
        if not given > least or sump.greatest_step(reservoir, minutes, is_rise=False) > 0.6 * given + least:
            return NORMAL
        if sump.return_stands(tank):
            return NORMAL
        rise = level.change(min(minutes - 15, 120))
        reasons = (
            Reason(Sign.CHANGE, reservoir.name, -given, window_us=minutes * MINUTE_US),
            Reason(Sign.POWER, power.name, power.value, since_us=power.end_us - minutes * MINUTE_US),
        )
        if not rise > 3.0 * level.noise_of_level:
            return Finding(0.4, reasons, EXPLAINS, (reservoir.name,))
        is_high = level.value > usual.high
        return Finding(0.85 if is_high else 0.65, reasons, EXPLAINS, (reservoir.name,))

    def _by_level(self, level: Look, usual: sump.SumpUsual, margin: float, tank: TankLook) -> Finding:
        minutes = sump.minutes_beyond(level, usual.high, is_high=True)
        since_us = level.end_us - minutes * MINUTE_US
        height = level.level(15) - usual.high
        rise = level.slope(60 if minutes >= 60 else 30)
        reasons: tuple[Reason, ...] = (
            Reason(Sign.LEVEL, level.name, level.value, usual.low, usual.high, since_us),
            Reason(Sign.SLOPE, level.name, rise.median, None, 0.0, window_us=60 * MINUTE_US),
        )
        window = minutes + 30
        path = [value for value in level.cells(window) if value == value]
        climbed = level.value - min(path, default=level.value)
        # What drains back from the display is down within two cells.
        jump = (
            max((after - before for before, after in zip(path, path[2:], strict=False)), default=0.0)
            - 3.0 * level.noise_of_level
        )
        came_from_below = min(level.cells(max(window, 120)), default=level.value) < usual.low - 2.0 * margin
        if jump > min(0.7 * climbed, 0.9 * height) or came_from_below or sump.return_stands(tank):
            return Finding(0.2, reasons, EXPLAINS)
        sure = 0.25 + 0.25 * ramp(height, margin / 2, margin)
        is_rising = _goes_on(level, height, minutes)
        if height >= margin and is_rising:
            sure = 0.6 + 0.2 * ramp(height, margin, 4.0 * margin)
        elif height >= margin:
            sure = 0.4
        salt = tank.known("practical_salinity")
        if salt is not None and sure >= 0.4:
            fall = salinity.salt_move(salt, is_fall=True)
            if fall.share >= 0.6:
                reasons += (
                    Reason(Sign.CHANGE, salt.name, -fall.size, window_us=fall.hours * 60 * MINUTE_US),
                )
                sure = max(sure, 0.6) + 0.15
        power = tank.known("top_off_power")
        if power is not None and power.value > 0.0 and sure >= 0.5:
            reasons += (Reason(Sign.POWER, power.name, power.value),)
            sure = max(sure, 0.9)
        return Finding(min(sure, 0.95), reasons, EXPLAINS)

    def _with_outlook(self, found: Finding, tank: TankLook) -> Finding:
        """Add what goes on: salinity to its danger line, and with limewater alkalinity and pH."""
        concerns = found.concerns
        salt = tank.known("practical_salinity")
        projection: Projection | None = None
        if salt is not None:
            concerns = (*concerns, salt.name)
            projection = project(
                tank.end_us, salt.value, salt.slope(180), salt.series.danger_line(is_high=False), None
            )
        explains, reasons = found.explains, found.reasons
        if tank.has("limewater_stirrer"):
            explains = EXPLAINS_WITH_LIME
            ph = tank.known("ph")
            if ph is not None:
                concerns = (*concerns, ph.name)
            if found.confidence >= 0.5:
                more, other = _limewater(tank, salt, ph)
                reasons = (*reasons, *more)
                if other is not None and (projection is None or other.at_us < projection.at_us):
                    projection = other
        return Finding(found.confidence, reasons, explains, concerns, projection, found.priority)


def _goes_on(level: Look, height: float, minutes: int) -> bool:
    """Whether the level still rises a third as fast as it has since it passed its mark, or faster."""
    back = min(max(15, minutes // 10 * 5), 120)
    return level.change(back, over=5 if back < 60 else 15) > 0.35 * height * back / max(minutes, back)


def _limewater(
    tank: TankLook, salt: Look | None, ph: Look | None
) -> tuple[tuple[Reason, ...], Projection | None]:
    """What limewater on top does: alkalinity gained so far, and when pH reaches its danger line."""
    volume = tank.rules.volume_litres
    per_hour = _litres_per_hour(tank, salt)
    if volume is None or per_hour is None:
        return (), None
    rise = physics.alkalinity_rise(volume, per_hour)
    reasons: tuple[Reason, ...] = (Reason(Sign.ALKALINITY, "alkalinity", rise, window_us=HOUR_US),)
    if ph is None or not 7.0 < ph.value < 9.3:
        return reasons, None
    first = physics.ph_after(volume, per_hour, ph.value) - ph.value
    reasons += (Reason(Sign.BALANCE, ph.name, first, window_us=HOUR_US),)
    line = ph.series.danger_line(is_high=True)
    if line is None or ph.value >= line:
        return reasons, None
    hours = _hours_to(volume, per_hour, ph.value, line)
    if hours is None:
        return reasons, None
    # Air and corals take some of it back, so this is the earliest; a fourth of the rate is the least.
    latest = _hours_to(volume, per_hour / 2.0, ph.value, line)
    at_us = tank.end_us + round(hours * HOUR_US)
    return reasons, Projection(
        line, at_us, at_us, None if latest is None else tank.end_us + round(latest * HOUR_US)
    )


def _hours_to(volume: float, per_hour: float, ph: float, line: float) -> float | None:
    """Hours until limewater at a rate (L/h) brings a closed tank to a pH; None beyond two days."""
    low, high = 0.0, float(_FARTHEST_HOURS)
    if physics.ph_after(volume, high * per_hour, ph) < line:
        return None
    for _ in range(10):
        middle = (low + high) / 2
        if physics.ph_after(volume, middle * per_hour, ph) < line:
            low = middle
        else:
            high = middle
    return high


def _litres_per_hour(tank: TankLook, salt: Look | None) -> float | None:
    """How much comes in, by the reservoir, else by the salinity; None where neither tells."""
    reservoir = tank.known("reservoir")
    if reservoir is not None and reservoir.series.quantity == "volume":
        given = -reservoir.change(20, over=5)
        rate = 3.0 * given if given > 6.0 * reservoir.noise_of_level else -reservoir.slope(60).median
        if rate > 0.05:
            return rate
    volume = tank.rules.volume_litres
    if salt is not None and volume is not None and salt.value > 0.0:
        slope = salt.slope(120)
        if slope.high < 0.0:
            return physics.fresh_litres_per_hour(volume, salt.value, slope.median)
    return None


FAULT = TopOffOverdose()
