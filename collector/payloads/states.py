"""The two states of a contact or of equipment: words, booleans and numbers become 0.0 or 1.0.

A closed contact is 1 and an open one 0; what is on is 1. A leak contact closes when it is wet, so wet is
1. A float switch or relay that is wired the other way round is inverted in the configuration, not here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from collector.configuration import SeriesConfiguration
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


def state_value(value: float | bool | str, series: SeriesConfiguration) -> float:
    """Return 0.0 or 1.0 for what a payload says of a state.

    Parameters
    ----------
    value
        A boolean, 0 or 1, or a word in any case.
    series
        Its own words come before ours; a number counts as the word it is written as. If it is inverted,
        the two states change places after that.

    Raises
    ------
    PayloadError
        If it is neither; the reason names the words that would do.
    """
    if isinstance(value, str):
        word = value.strip().lower()
    elif isinstance(value, bool):
        word = "true" if value else "false"
    else:
        # All digits, so that nearly 1 is not 1; adding zero makes -0 the same as 0.
        word = f"{value + 0.0:.17g}"
    state = series.words.get(word)
    if state is None:
        state = STATE_WORDS.get(word)
    if state is None:
        known = ", ".join((*map(shown, series.words), *STATE_WORDS))
        raise PayloadError(f"{shown(value)} is none of the two states; known are {known}: give it in words")
    return 1.0 - state if series.is_inverted else state
