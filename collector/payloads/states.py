"""The two states of a contact or of equipment: words, booleans and numbers become 0.0 or 1.0.

A closed contact is 1 and an open one 0; what is on is 1. A leak contact closes when it is wet, so wet is
1. A float switch or relay that is wired the other way round is inverted in the configuration, not here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from collector.errors import PayloadError
from collector.payloads.shown import shown

# Lower case. Own words of a series are looked up before these.
STATE_WORDS: Mapping[str, float] = MappingProxyType(
    {
        "closed": 1.0,
        "on": 1.0,
        "true": 1.0,
        "yes": 1.0,
        "wet": 1.0,
        "1": 1.0,
        "open": 0.0,
        "off": 0.0,
        "false": 0.0,
        "no": 0.0,
        "dry": 0.0,
        "0": 0.0,
    }
)
_NONE: Mapping[str, float] = MappingProxyType({})


def state_value(
    value: float | bool | str, words: Mapping[str, float] = _NONE, *, is_inverted: bool = False
) -> float:
    """Return 0.0 or 1.0 for what a payload says of a state.

    Parameters
    ----------
    value
        A boolean, 0 or 1, or a word in any case.
    words
        Own words, lower case, each with 0.0 or 1.0; a number counts as the word it is written as.
    is_inverted
        Whether the two states change places, after the word was read.

    Raises
    ------
    PayloadError
        If it is neither; the reason names the words that would do.
    """
    if type(value) is str:
        word = value.strip().lower()
    elif type(value) is bool:
        word = "true" if value else "false"
    else:
        word = f"{value:g}"
    state = words.get(word)
    if state is None:
        state = STATE_WORDS.get(word)
    if state is None:
        known = ", ".join((*map(shown, words), *STATE_WORDS))
        raise PayloadError(f"{shown(value)} is none of the two states; known are {known}: give it in words")
    return 1.0 - state if is_inverted else state
