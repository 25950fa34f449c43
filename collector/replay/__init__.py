"""Replay: what was recorded through the same engine and the same desk, and what comes of it."""

from collector.replay.account import incident_line, outcome_text, replayed_lines, replayed_object, told
from collector.replay.hearing import Hearing, Replayed
from collector.replay.inputs import FromFiles, FromStore, Input, from_database, from_store
from collector.replay.reasoning import Reasoning
from collector.replay.reviewed import Reviewed, reviewed, works_of_store
from collector.replay.rings import DryTelling, Ring
from collector.replay.run import Replay

__all__ = [
    "DryTelling",
    "FromFiles",
    "FromStore",
    "Hearing",
    "Input",
    "Reasoning",
    "Replay",
    "Replayed",
    "Reviewed",
    "Ring",
    "from_database",
    "from_store",
    "incident_line",
    "outcome_text",
    "replayed_lines",
    "replayed_object",
    "reviewed",
    "told",
    "works_of_store",
]
