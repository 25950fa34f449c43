"""What the faults of probes share: which quantities a probe measures, and the symptoms that it explains."""

from __future__ import annotations

from rules.look import Look, TankLook

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


def is_water(subject: Look, tank: TankLook) -> bool:
    """Whether the probe hangs in the tank's water, or in what is poured into it."""
    return subject.series.quantity in WATER and tank.role_of(subject.name) != "room_temperature"
