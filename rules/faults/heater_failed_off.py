"""Heater failed off: the water loses heat and nothing gives it back.

Watches temperature. Rivals: a chiller or fan that does not stop, an open window, a probe out of the
water. First: look whether the heater is warm and its supply is on, with the plug pulled before hands
go into the water.
"""

from __future__ import annotations

from rules.faults.heat import HeatFault

FAULT = HeatFault("heater_failed_off", sign=-1)
