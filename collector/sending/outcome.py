"""What became of a try to send."""

from __future__ import annotations

from enum import StrEnum


class Outcome(StrEnum):
    """What became of a try; `interrupted` is one whose end nobody saw, so it may have been delivered."""

    DELIVERED = "delivered"
    FAILED = "failed"
    INTERRUPTED = "interrupted"
