"""The heat of a tank as one well-stirred body: how fast it cools, where it ends, when it is there.

    C dT/dt = P - UA (T - T_room)

with P all power into the water less what evaporation takes. A return pump turns a tank over several times
an hour, so one temperature stands for all of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rules.physics.water import FRESH_WATER_KG_PER_LITRE

_SECONDS_A_DAY = 86400.0
_SECONDS_AN_HOUR = 3600.0
# 1.6369 MJ/K over 20 W/K: 22.735 h at 400 L.
_USUAL_HOURS, _USUAL_LITRES = 22.735, 400.0


def heat_capacity(volume_litres: float, salinity: float = 35.0, temperature: float = 25.0) -> float:
    """Heat capacity in J/K of a volume of seawater.

    Parameters
    ----------
    volume_litres
        Volume, L.
    salinity
        Practical salinity, taken with the reference composition.
    temperature
        ITS-90, degC.

    References
    ----------
    TEOS-10, through `gsw`: density times isobaric heat capacity.
    """
    import gsw

    absolute = gsw.SR_from_SP(salinity)
    per_m3 = gsw.rho_t_exact(absolute, temperature, 0.0) * gsw.cp_t_exact(absolute, temperature, 0.0)
    return float(per_m3) * volume_litres / 1000.0


def evaporation_watts(litres_per_day: float, temperature: float = 25.0) -> float:
    """Heat in W that evaporation takes from water of a temperature in degC; 1 L/day takes about 28 W."""
    import gsw

    kilograms_per_second = litres_per_day * FRESH_WATER_KG_PER_LITRE / _SECONDS_A_DAY
    return float(gsw.latentheat_evap_t(0.0, temperature)) * kilograms_per_second


def usual_time_constant_hours(volume_litres: float) -> float:
    """Time constant in h that a tank of a volume in L usually has: volume holds heat, surface loses it.

    Taken from 20 W/K at 400 L, growing with the surface; real tanks differ by a third, with their lid and
    their stand (common practice, no source).
    """
    return _USUAL_HOURS * float((volume_litres / _USUAL_LITRES) ** (1 / 3))


@dataclass(frozen=True, slots=True)
class HeatBalance:
    """A tank in a room, while power and room stay as they are.

    Parameters
    ----------
    capacity
        Heat capacity C, J/K, > 0.
    loss
        UA, what goes to the room per degree of difference, W/K, > 0.
    room
        Temperature of the room, degC.
    watts
        All power into the water (heater, pumps, lights) less what evaporation takes.

    Raises
    ------
    ValueError
        If capacity or loss is not above 0.
    """

    capacity: float
    loss: float
    room: float
    watts: float = 0.0

    def __post_init__(self) -> None:
        if not (self.capacity > 0 and self.loss > 0):
            raise ValueError(f"capacity {self.capacity:g} J/K and loss {self.loss:g} W/K must be above 0")

    @property
    def time_constant_s(self) -> float:
        """Seconds in which 63 % of the way to the end temperature are gone."""
        return self.capacity / self.loss

    @property
    def end_temperature(self) -> float:
        """Where the temperature goes if nothing changes, degC."""
        return self.room + self.watts / self.loss

    def rate_per_hour(self, temperature: float) -> float:
        """How fast the temperature changes now, degC/h."""
        return (self.watts - self.loss * (temperature - self.room)) / self.capacity * _SECONDS_AN_HOUR

    def temperature_after(self, seconds: float, temperature: float) -> float:
        """Temperature in degC some seconds after it was `temperature`: the exact solution."""
        end = self.end_temperature
        return end + (temperature - end) * math.exp(-seconds / self.time_constant_s)

    def time_to_reach(self, target: float, temperature: float) -> float | None:
        """Seconds from `temperature` to `target`, both degC; None if it is never reached from there."""
        to_go, in_all = target - self.end_temperature, temperature - self.end_temperature
        if target == temperature:
            return 0.0
        if in_all == 0 or not 0 < to_go / in_all <= 1:
            return None
        return self.time_constant_s * math.log(in_all / to_go)
