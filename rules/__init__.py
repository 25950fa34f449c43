"""The pure engine: quality tests, features, faults, alarms and incidents.

No clock, socket, file, database, thread or logger: time comes in with the data. This module is the only
door that `collector` uses; what is not in `__all__` may change freely.
"""

from rules.blocks import Block, FlagArray, FloatArray, IntArray
from rules.causes import CAUSES, Cause
from rules.events import (
    AlarmEvent,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Event,
    Evidence,
    FlagRevised,
    Incident,
    IncidentEnded,
    IncidentEvent,
    IncidentOpened,
    IncidentUpdated,
    Priority,
)
from rules.flags import Flag, primary_flag
from rules.quantities import QUANTITIES, TWO_STATE
from rules.setup import (
    HOUR_US,
    MICROSECONDS,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    LimitAlarm,
    RateAlarm,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
    TankRules,
)

__all__ = [
    "CAUSES",
    "HOUR_US",
    "MICROSECONDS",
    "QUANTITIES",
    "TWO_STATE",
    "AlarmEvent",
    "AlarmKey",
    "AlarmRaised",
    "AlarmReturned",
    "Block",
    "Cause",
    "EngineRules",
    "Event",
    "Evidence",
    "Flag",
    "FlagArray",
    "FlagRevised",
    "FlatLineLimits",
    "FloatArray",
    "GapLimits",
    "GrossRangeLimits",
    "Incident",
    "IncidentEnded",
    "IncidentEvent",
    "IncidentOpened",
    "IncidentUpdated",
    "IntArray",
    "LimitAlarm",
    "Priority",
    "RateAlarm",
    "RateOfChangeLimits",
    "SeriesRules",
    "SpikeLimits",
    "TankRules",
    "primary_flag",
]
