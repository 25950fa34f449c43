"""The switch of a simulated heater."""

from __future__ import annotations


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
