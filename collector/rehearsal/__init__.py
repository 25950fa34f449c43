"""A rehearsal: a recorded week played into a real broker as live messages, for the whole chain behind it."""

from collector.rehearsal.run import Rehearsal, rehearse

__all__ = ["Rehearsal", "rehearse"]
