"""What is to fail, when, by how much, and what of the tank the recording does not say."""

from __future__ import annotations

from dataclasses import dataclass

# Evaporation of a tank, share of its volume a day; a room; a heater's W/L. What pumps and lamps give, 0.15
# and on average 0.13 W/L, evaporation takes, 0.28 W/L: unheated water comes to the room (common practice, no
# source).
EVAPORATION_A_DAY = 0.01
USUAL_ROOM = 21.0
HEATER_WATTS_PER_LITRE = 1.0


@dataclass(frozen=True, slots=True)
class How:
    """One fault.

    Parameters
    ----------
    cause
        A code of `KINDS`.
    tank
        Whose.
    from_us, to_us
        From its beginning to its repair; None for to the end of the recording.
    size
        In the unit of the kind; NaN for its default.
    series
        Of which probe, for faults of probes.
    unheated
        Temperature to which the water would sink without heater, degC; None: that of the recorded room, or
        `USUAL_ROOM`.
    litre_cm
        By how much a litre raises the level, cm; None where there is no level.
    is_limewater
        Whether the top-off gives saturated limewater.
    """

    cause: str
    tank: str
    from_us: int
    to_us: int | None = None
    size: float = float("nan")
    series: str = ""
    unheated: float | None = None
    litre_cm: float | None = None
    is_limewater: bool = False
