"""Computed faults in recorded weeks: what the readings would have been, had something failed then."""

from collector.injection.how import How
from collector.injection.kinds import KINDS, Kind, inject

__all__ = ["KINDS", "How", "Kind", "inject"]
