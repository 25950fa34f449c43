"""Units: accepted spellings, conversions to the one canonical unit of a quantity, and text for people."""

from collector.units.conversion import converter, is_compensated
from collector.units.display import display, display_difference, resolution
from collector.units.duration_text import parse_duration
from collector.units.factors import identity
from collector.units.quantity_text import parse_quantity, parse_rate
from collector.units.salinity import ReferencePair, parse_reference
from collector.units.spellings import SPELLINGS, accepted

__all__ = [
    "SPELLINGS",
    "ReferencePair",
    "accepted",
    "converter",
    "display",
    "display_difference",
    "identity",
    "is_compensated",
    "parse_duration",
    "parse_quantity",
    "parse_rate",
    "parse_reference",
    "resolution",
]
