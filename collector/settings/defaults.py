"""Deadband, on-delay and off-delay where the keeper sets none, by quantity, each with its reason.

The file says them in words; these are the same words, so that `brinebell check --keys` prints what is
used. First guesses all: set the deadband a little wider than the noise and the on-delay a little longer
than harmless excursions, then check that there is time left to act.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import NamedTuple


class AlarmDefaults(NamedTuple):
    """What is used for the alarms of a quantity; an empty deadband is zero."""

    deadband: str
    on_delay: str
    off_delay: str
    reason: str
    # Of its danger lines, where they wait less long.
    danger_on_delay: str = ""


# Ten minutes: at two, hands in the water and a paused pump ring; at thirty, a heater stuck on has moved
# 400 L by another 0.3 degC before anyone is told.
_SLOW = "10 min"
# Half an hour: a probe in a buffer, and the water that a water change has taken out, are back by then. What
# hurries more has a danger line, or a fault that knows how fast it moves.
_IN_HAND = "30 min"

ALARM_DEFAULTS = MappingProxyType(
    {
        "temperature": AlarmDefaults(
            "0.15 degC",
            _SLOW,
            "15 min",
            "deadband 1 % of a span of 15 degC (alarm management practice, quoted second-hand), below a "
            "thermostat's own hysteresis of 0.2 to 0.5 degC; delays: common practice, no source",
        ),
        "ph": AlarmDefaults(
            "0.05 pH",
            _IN_HAND,
            "15 min",
            "a dose or a door moves pH for minutes, a buffer for a quarter of an hour; common practice, "
            "no source",
            danger_on_delay="15 min",
        ),
        "practical_salinity": AlarmDefaults(
            "0.3",
            _IN_HAND,
            "15 min",
            "bubbles in the cell pass within minutes, a probe is rinsed for longer; 1 a day is the most that "
            "should happen; common practice, no source",
            danger_on_delay="15 min",
        ),
        "conductivity": AlarmDefaults(
            "0.4 mS/cm",
            _IN_HAND,
            "15 min",
            "0.3 of practical salinity at 25 degC; common practice, no source",
            danger_on_delay="15 min",
        ),
        "specific_conductance": AlarmDefaults(
            "0.4 mS/cm",
            _IN_HAND,
            "15 min",
            "0.3 of practical salinity at 25 degC; common practice, no source",
            danger_on_delay="15 min",
        ),
        "volume": AlarmDefaults(
            "1 L", "5 min", "5 min", "5 % of a reservoir of 20 L; common practice, no source"
        ),
        "water_level": AlarmDefaults(
            "0.5 cm",
            _IN_HAND,
            "5 min",
            "a top-off band is a few mm to 2 cm wide, and a danger line does not wait; common practice, "
            "no source",
            danger_on_delay="2 min",
        ),
        "power": AlarmDefaults(
            "5 W", "1 min", "1 min", "noise of a metering plug; common practice, no source"
        ),
        "alkalinity": AlarmDefaults(
            "0.1 meq/L",
            "0 s",
            "0 s",
            "tested once or twice a day, so nothing is waited for; common practice, no source",
        ),
        "redox_potential": AlarmDefaults(
            "10 mV", _SLOW, "15 min", "hands in the water move it for minutes; common practice, no source"
        ),
        "dissolved_oxygen": AlarmDefaults(
            "0.2 mg/L", "5 min", "10 min", "falls fast when circulation stops; common practice, no source"
        ),
        "flow": AlarmDefaults(
            "50 L/h", "1 min", "1 min", "5 % of 1000 L/h; delay 15 s to 1 min; common practice, no source"
        ),
        "relative_humidity": AlarmDefaults(
            "2 %RH", _SLOW, "15 min", "noise of a room sensor; common practice, no source"
        ),
        "contact": AlarmDefaults(
            "",
            "0 s",
            "0 s",
            "water on the floor does not wait; a float that bobs wants an on_delay of its own",
        ),
        "state": AlarmDefaults("", "0 s", "0 s", "equipment says itself when it is on"),
    }
)
