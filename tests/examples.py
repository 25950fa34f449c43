"""How many examples a property is tried on."""

from __future__ import annotations

import os


def few(count: int) -> int:
    """Return so many, and a third in CI, where they are the same each time; elsewhere chance finds others."""
    return count // 3 if os.environ.get("CI") else count
