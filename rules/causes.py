"""The causes that an alarm can have: short, documented, stable codes in the trade's words."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause: its code, what a person reads, what it watches, and how specific it is.

    Where several alarms form one incident, the one of the highest `rank` names it: a fault explains a
    crossed limit, a crossed limit explains nothing.
    """

    code: str
    title: str
    watches: str
    rank: int


CAUSES = MappingProxyType(
    {
        cause.code: cause
        for cause in (
            # Silence and a lost board explain no water: they never take the name of what was measured.
            Cause("probe_silent", "probe silent", "the time since a series' last reading", 0),
            Cause("device_offline", "board offline", "the last will of a board", 1),
            Cause("under_limit", "under limit", "a value below its alarm limit", 2),
            Cause("over_limit", "over limit", "a value above its alarm limit", 2),
            Cause("changing_fast", "changing fast", "the robust slope of a value over its window", 2),
            Cause("probe_stuck", "probe stuck", "a series that stays within its flat line tolerance", 3),
            Cause("under_danger_line", "under danger line", "a value below its danger line", 4),
            Cause("over_danger_line", "over danger line", "a value above its danger line", 4),
            Cause("contact_alarm", "contact says alarm", "a float switch or leak contact in alarm", 4),
            # A sensor that gives what it cannot give explains every limit that it crossed.
            Cause("probe_out_of_range", "probe out of range", "readings outside the sensor's own span", 5),
            Cause(
                "probe_noisy", "probe noisy", "readings that scatter far more than this probe usually does", 5
            ),
            Cause("probe_drifting", "probe drifting", "a value that parts slowly from what explains it", 5),
            Cause("probe_dry", "probe dry", "a probe that measures air, not water", 5),
            Cause(
                "heater_failed_off", "heater failed off", "temperature falling steadily below the usual", 6
            ),
            Cause("heater_weak", "heater weak", "temperature that a heater no longer holds", 6),
            Cause("heater_stuck_on", "heater stuck on", "temperature rising steadily above the usual", 6),
            Cause(
                "cooling_lost", "cooling lost", "temperature rising above where chiller or fans hold it", 6
            ),
            Cause("top_off_overdose", "top-off overdose", "fresh water that dilutes the tank", 6),
            Cause("top_off_failed", "top-off failed", "evaporation that nothing replaces", 6),
            Cause("leak", "leak", "water that leaves the tank faster than it evaporates", 6),
            Cause("circulation_stopped", "circulation stopped", "the return pump's level and temperature", 6),
            Cause("reactor_off_band", "reactor off band", "the pH of a calcium reactor's effluent", 6),
            # It explains every board and probe that falls silent with it.
            Cause(
                "mains_power_lost", "mains power lost", "boards that fall silent together, powers at zero", 7
            ),
        )
    }
)
