"""Faults, one a file; a new one is a file and a line in `FAULTS`."""

from __future__ import annotations

from types import MappingProxyType

from rules.faults import (
    circulation_stopped,
    cooling_lost,
    heater_failed_off,
    heater_stuck_on,
    heater_weak,
    leak,
    mains_power_lost,
    probe_drifting,
    probe_dry,
    probe_noisy,
    probe_stuck,
    reactor_off_band,
    top_off_failed,
    top_off_overdose,
)
from rules.faults.fault import Fault, Finding, Parameter

_ALL: tuple[Fault, ...] = (
    heater_failed_off.FAULT,
    heater_weak.FAULT,
    heater_stuck_on.FAULT,
    cooling_lost.FAULT,
    circulation_stopped.FAULT,
    top_off_overdose.FAULT,
    top_off_failed.FAULT,
    leak.FAULT,
    reactor_off_band.FAULT,
    mains_power_lost.FAULT,
    probe_dry.FAULT,
    probe_noisy.FAULT,
    probe_stuck.FAULT,
    probe_drifting.FAULT,
)

FAULTS = MappingProxyType({fault.code: fault for fault in _ALL})

__all__ = ["FAULTS", "Fault", "Finding", "Parameter"]
