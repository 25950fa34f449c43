"""Search for better settings on recorded weeks: what is tried, how it does, and which to take."""

from collector.tuning.account import tuned_lines, tuned_object
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
    "candidates",
    "choose",
    "parse_parameter",
    "patched",
    "search",
    "tuned_lines",
    "tuned_object",
    "written",
]
