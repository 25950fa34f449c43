"""Search for better settings on recorded weeks: what is tried, how it does, and which to take."""

from collector.tuning.account import (
    beside_lines,
    changes,
    held_out_text,
    tuned_lines,
    tuned_object,
    values_text,
)
from collector.tuning.candidates import candidates
from collector.tuning.choosing import Chosen, Tried, Week, choose
from collector.tuning.editing import patched, written
from collector.tuning.parameters import Parameter, parse_parameter
from collector.tuning.search import Part, Recorded, search

__all__ = [
    "Chosen",
    "Parameter",
    "Part",
    "Recorded",
    "Tried",
    "Week",
    "beside_lines",
    "candidates",
    "changes",
    "choose",
    "held_out_text",
    "parse_parameter",
    "patched",
    "search",
    "tuned_lines",
    "tuned_object",
    "values_text",
    "written",
]
