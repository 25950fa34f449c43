"""The roles that series have in a tank: which one speaks for the water, which for the heater?

A fault asks for a role and never for a name. Without a word from the keeper a series has the role of
its own name; where none has it, the only series of the quantity takes it, for the roles that a tank's
own water has.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType

from rules.setup import SeriesRules, TankRules


@dataclass(frozen=True, slots=True)
class Role:
    """What a series can be in its tank.

    `quantities` can have the role; `is_taken_alone` says that the only series of its quantity does.
    """

    name: str
    quantities: tuple[str, ...]
    meaning: str
    is_taken_alone: bool = False


_POWER = ("power", "state")

ROLES = MappingProxyType(
    {
        role.name: role
        for role in (
            Role("temperature", ("temperature",), "the tank's water", True),
            Role("temperature_2", ("temperature",), "the same water, by a second probe"),
            Role("ph", ("ph",), "the tank's water", True),
            Role("ph_2", ("ph",), "the same water, by a second probe"),
            Role("practical_salinity", ("practical_salinity",), "the tank's water", True),
            Role("practical_salinity_2", ("practical_salinity",), "the same water, by a second probe"),
            Role("sump_level", ("water_level",), "where the top-off holds the level", True),
            Role("reservoir", ("volume", "water_level"), "what the top-off draws from", True),
            Role("room_temperature", ("temperature",), "the air around the tank"),
            Role("heater_power", _POWER, "all heaters together"),
            Role("chiller_power", _POWER, "the chiller"),
            Role("fan_power", _POWER, "the cooling fans"),
            Role("top_off_power", _POWER, "the top-off pump"),
            Role("return_pump_power", _POWER, "the pump from the sump to the display"),
            Role("floor_contact", ("contact",), "a contact where no water should be"),
            Role("reactor_ph", ("ph",), "the effluent of a calcium reactor"),
        )
    }
)


def roles_of(tank: TankRules, series: Iterable[SeriesRules]) -> dict[str, str]:
    """Return the name of the series of each role that a tank has."""
    own = [one for one in series if one.tank == tank.name]
    named = {one.name: one for one in own}
    found = {role: name for role, name in tank.roles.items() if name in named}
    for role in ROLES.values():
        if role.name not in found and role.name in named and named[role.name].quantity in role.quantities:
            found[role.name] = role.name
    taken = set(found.values())
    for role in ROLES.values():
        if role.is_taken_alone and role.name not in found:
            alone = [one.name for one in own if one.quantity == role.quantities[0]]
            if len(alone) == 1 and alone[0] not in taken:
                found[role.name] = alone[0]
    return found
