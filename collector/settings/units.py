"""In which units people read values, from the table that says it."""

from __future__ import annotations

from collector.display_units import CHOICES, DisplayUnits
from collector.settings.model import UnitsSettings
from collector.settings.section import Section
from collector.settings.suggestions import instead_of


def resolve_units(section: Section, settings: UnitsSettings) -> DisplayUnits:
    """Keep what differs from the canonical unit, and tell what cannot be chosen."""
    chosen = {}
    for quantity, choices in CHOICES.items():
        unit = getattr(settings, quantity)
        if unit not in choices:
            section.wrong(quantity, instead_of(unit, list(choices)), unit)
        elif unit != next(iter(choices)):
            chosen[quantity] = unit
    return DisplayUnits(chosen)
