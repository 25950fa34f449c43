"""The heat of a simulated tank: lumped heat balance, thermostat, and the room around it.

    C dT/dt = P_heater + P_equipment + P_lights - UA (T - T_room) - Q_evaporation

The water is one well-stirred body: a return pump turns a tank over several times an hour, so a lumped
balance is what a probe in the sump sees.
"""

from __future__ import annotations

import math

import gsw

# What takes heat from the water when one litre a day evaporates at 25 degC: latent heat of fresh water
# (gsw.latentheat_evap_t) times its density over the seconds of a day.
_SECONDS_A_DAY = 86400.0
_FRESH_WATER_KG_PER_LITRE = 0.997


def heat_capacity(volume_litres: float, practical_salinity: float, temperature: float) -> float:
    """Heat capacity of a body of seawater at the surface, in J/K.

    Parameters
    ----------
    volume_litres
        Volume, L.
    practical_salinity
        PSS-78, taken with the reference composition (absolute salinity 35.16504/35 of it).
    temperature
        In situ, ITS-90, degC.

    References
    ----------
    TEOS-10 through `gsw`: density and isobaric heat capacity.
    """
    absolute_salinity = gsw.SR_from_SP(practical_salinity)
    density = gsw.rho_t_exact(absolute_salinity, temperature, 0.0)
    return float(density * gsw.cp_t_exact(absolute_salinity, temperature, 0.0) * volume_litres / 1000.0)


def evaporation_watts(litres_per_day: float, temperature: float) -> float:
    """Heat that evaporation takes from the water, W; 1 L/day takes 28.1 W at 25 degC."""
    kilograms_per_second = litres_per_day * _FRESH_WATER_KG_PER_LITRE / _SECONDS_A_DAY
    return float(gsw.latentheat_evap_t(0.0, temperature)) * kilograms_per_second


def temperature_after(
    seconds: float, temperature: float, room: float, watts: float, loss: float, capacity: float
) -> float:
    """Temperature after some time of constant power: the exact solution of the balance, degC.

    Parameters
    ----------
    temperature, room
        Water now and room, degC.
    watts
        All power into the water less what evaporation takes, W.
    loss
        UA, W/K, > 0.
    capacity
        J/K.
    """
    end = room + watts / loss
    return end + (temperature - end) * math.exp(-seconds * loss / capacity)


class Thermostat:
    """A heater switch: on below setpoint - hysteresis / 2, off above setpoint + hysteresis / 2."""

    __slots__ = ("_high", "_low", "is_on")

    def __init__(self, setpoint: float, hysteresis: float) -> None:
        self._low = setpoint - hysteresis / 2
        self._high = setpoint + hysteresis / 2
        self.is_on = False

    def decide(self, temperature: float) -> bool:
        """Whether the heater is on at this temperature, given what it was."""
        if temperature <= self._low:
            self.is_on = True
        elif temperature >= self._high:
            self.is_on = False
        return self.is_on
