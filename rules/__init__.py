"""The pure engine: quality tests, features, faults, alarms and incidents.

No clock, socket, file, database, thread or logger: time comes in with the data. This module is the only
door that `collector` uses; what is not in `__all__` may change freely.
"""

from rules import physics
from rules.baseline import (
    DAYS_NEEDED,
    LEARN_DAYS,
    Band,
    Baseline,
    Learning,
    PoorFit,
    WeekProfile,
    fit_baseline,
)
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
from rules.fault_panel import Judgement
from rules.faults import FAULTS, Fault, Finding, Parameter
from rules.flags import Flag, primary_flag
from rules.heat_model import HeatModel, NotFitted, fit_heat_model
from rules.kept import Keeper
from rules.life_cycle import (
    LONGEST_SHELF_US,
    AlarmLife,
    AlarmState,
    Hold,
    is_annunciated,
)
from rules.life_cycle import Step as AlarmStep
from rules.planned_work import KINDS, NEVER_SUPPRESSED, PlannedWork, Suppressed, WorkKind
from rules.quality.packed import TESTS, unpack
from rules.quantities import QUANTITIES, TWO_STATE
from rules.rerun import Rerun, Reruns, but_limits
from rules.roles import ROLES, Role, roles_of
from rules.scoring import NO_CAUSES, Annotation, Found, Score, Weights, score
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

__all__ = [
    "ATTENUATION_METHODS",
    "CAUSES",
    "DAYS_NEEDED",
    "FAULTS",
    "HOUR_US",
    "KINDS",
    "LEARN_DAYS",
    "LONGEST_SHELF_US",
    "MICROSECONDS",
    "NEVER_SUPPRESSED",
    "NO_CAUSES",
    "QUANTITIES",
    "ROLES",
    "SPIKE_METHODS",
    "TESTS",
    "TWO_STATE",
    "AlarmEvent",
    "AlarmKey",
    "AlarmLife",
    "AlarmRaised",
    "AlarmReturned",
    "AlarmState",
    "AlarmStep",
    "Annotation",
    "AttenuatedSignalLimits",
    "Band",
    "Baseline",
    "Block",
    "Cause",
    "ClimatologyLimits",
    "CompanionLimits",
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
    "Found",
    "GapLimits",
    "GrossRangeLimits",
    "HeatModel",
    "Hold",
    "Incident",
    "IncidentEnded",
    "IncidentEvent",
    "IncidentOpened",
    "IncidentUpdated",
    "IntArray",
    "Judgement",
    "Keeper",
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
    "Rerun",
    "Reruns",
    "Rival",
    "Role",
    "Score",
    "Season",
    "SeriesRules",
    "Sign",
    "SpikeLimits",
    "Suppressed",
    "TankRules",
    "WeekProfile",
    "Weights",
    "WorkKind",
    "but_limits",
    "fit_baseline",
    "fit_heat_model",
    "is_annunciated",
    "physics",
    "primary_flag",
    "roles_of",
    "score",
    "unpack",
]
