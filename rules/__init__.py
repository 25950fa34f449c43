"""The pure engine: quality tests, features, faults, alarms and incidents.

No clock, socket, file, database, thread or logger: time comes in with the data. This module is the only
door that `collector` uses; what is not in `__all__` may change freely.
"""

from rules import physics
from rules.baseline import DAYS_NEEDED, Band, Baseline, DayProfile, Learning, PoorFit, fit_day_profile
from rules.blocks import Block, FlagArray, FloatArray, IntArray
from rules.causes import CAUSES, Cause
from rules.engine import Engine, Outcome
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
    Reason,
    Rival,
    Sign,
)
from rules.faults import FAULTS, Fault, Finding, Parameter
from rules.flags import Flag, primary_flag
from rules.heat_model import HeatModel, NotFitted, fit_heat_model
from rules.planned_work import KINDS, PlannedWork, Suppressed, WorkKind
from rules.quality.packed import TESTS, unpack
from rules.quantities import QUANTITIES, TWO_STATE
from rules.roles import ROLES, Role
from rules.setup import (
    ATTENUATION_METHODS,
    HOUR_US,
    MICROSECONDS,
    SPIKE_METHODS,
    AttenuatedSignalLimits,
    ClimatologyLimits,
    CompanionLimits,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    LimitAlarm,
    RateAlarm,
    RateOfChangeLimits,
    Season,
    SeriesRules,
    SpikeLimits,
    TankRules,
)
from rules.tank_watch import Judgement

__all__ = [
    "ATTENUATION_METHODS",
    "CAUSES",
    "DAYS_NEEDED",
    "FAULTS",
    "HOUR_US",
    "KINDS",
    "MICROSECONDS",
    "QUANTITIES",
    "ROLES",
    "SPIKE_METHODS",
    "TESTS",
    "TWO_STATE",
    "AlarmEvent",
    "AlarmKey",
    "AlarmRaised",
    "AlarmReturned",
    "AttenuatedSignalLimits",
    "Band",
    "Baseline",
    "Block",
    "Cause",
    "ClimatologyLimits",
    "CompanionLimits",
    "DayProfile",
    "Engine",
    "EngineRules",
    "Event",
    "Evidence",
    "Fault",
    "Finding",
    "Flag",
    "FlagArray",
    "FlagRevised",
    "FlatLineLimits",
    "FloatArray",
    "GapLimits",
    "GrossRangeLimits",
    "HeatModel",
    "Incident",
    "IncidentEnded",
    "IncidentEvent",
    "IncidentOpened",
    "IncidentUpdated",
    "IntArray",
    "Judgement",
    "Learning",
    "LimitAlarm",
    "NotFitted",
    "Outcome",
    "Parameter",
    "PlannedWork",
    "PoorFit",
    "Priority",
    "RateAlarm",
    "RateOfChangeLimits",
    "Reason",
    "Rival",
    "Role",
    "Season",
    "SeriesRules",
    "Sign",
    "SpikeLimits",
    "Suppressed",
    "TankRules",
    "WorkKind",
    "fit_day_profile",
    "fit_heat_model",
    "physics",
    "primary_flag",
    "unpack",
]
