"""Heater stuck on: thermostat or relay does not let go, and the water warms beyond the usual.

Watches temperature. Rivals: a lost chiller or fan, a heat wave. First: pull the heater's plug, then
cool gently.
"""

from __future__ import annotations

from rules.faults.heat import HeatFault

FAULT = HeatFault("heater_stuck_on", sign=+1)
