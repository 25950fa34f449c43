"""What the faults of probes share: which quantities a probe measures, and the symptoms that it explains."""

from __future__ import annotations

from rules.look import Look, TankLook
from rules.trace import MINUTE_US

SALT = ("practical_salinity", "conductivity", "specific_conductance")
# What a probe in the water measures; powers, flows and contacts are no probes of water.
WATER = (
    "temperature",
    "ph",
    *SALT,
    "water_level",
    "volume",
    "alkalinity",
    "redox_potential",
    "dissolved_oxygen",
)
# What new water does to the others within the hour.
_WATER_MOVES = {"temperature": 0.3, "ph": 0.1, "practical_salinity": 0.3}
_MOVED_NOISES = 4.0
# Roles by which the faults of the tank judge, and the word for what is odd about each.
_WORDS = {
    "temperature": "temperature",
    "ph": "ph",
    "practical_salinity": "salinity",
    "sump_level": "level",
    "reactor_ph": "reactor_ph",
}


def word_of(subject: Look, tank: TankLook) -> str:
    """What faults of the tank call this series; its own name where none of them judges by it."""
    return _WORDS.get(tank.role_of(subject.name) or "", subject.name)


def frozen(subject: Look) -> str:
    """The symptom of a value that does not move."""
    return f"{subject.name}_frozen"


def scatter(subject: Look) -> str:
    """The symptom of a value that jumps about."""
    return f"{subject.name}_scatter"


def water_moved(subject: Look, tank: TankLook, since_us: int) -> bool:
    """Whether other probes of the same water moved at that instant, too: then it was the water."""
    ago = max(0, (subject.end_us - since_us) // MINUTE_US)
    for role, least in _WATER_MOVES.items():
        other = tank.known(role)
        if other is None or other.name == subject.name:
            continue
        before = other.level(30, ago + 30)
        behind = other.level(30, max(0, ago - 60))
        if abs(behind - before) > max(least, _MOVED_NOISES * other.noise_of_level):
            return True
    return False


def is_water(subject: Look, tank: TankLook) -> bool:
    """Whether the probe hangs in the tank's water, or in what is poured into it."""
    return subject.series.quantity in WATER and tank.role_of(subject.name) != "room_temperature"
