"""The nearest valid word to one that is not valid: "deadbnd" meant "deadband"."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

# Below this difflib's ratio proposes words that only share letters; at 0.6, its own default, it still
# finds one wrong, missing or swapped letter in words of four.
_CUTOFF = 0.6


def nearest(word: str, valid: Iterable[str]) -> str | None:
    """The valid word most like this one, None if none is like it."""
    lower = {one.lower(): one for one in valid}
    found = difflib.get_close_matches(word.lower(), list(lower), n=1, cutoff=_CUTOFF)
    return lower[found[0]] if found else None


def instead_of(word: str, valid: Iterable[str]) -> str:
    """Say what was meant, or what there is: 'did you mean "heater"?' or 'one of a, b, c'."""
    words = sorted(valid)
    found = nearest(word, words)
    if found is not None:
        return f'did you mean "{found}"?'
    return f"one of {', '.join(words)}" if words else "there is none yet"
