"""Per-test flags of one reading packed into an integer, four bits a test.

Only verdicts other than PASS are kept, so 0 means that the reading passed throughout, and a store
needs to keep the integer only where it is not 0. A test that the series does not have is never set.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from rules.flags import Flag

# The position of a test is part of the stored form: append, never reorder.
TESTS = (
    "gap",
    "gross_range",
    "spike",
    "rate_of_change",
    "flat_line",
    "climatology",
    "attenuated_signal",
    "multivariate",
    "neighbor",
)
# Tests of two series: judged at the steps of a tank, not as readings come.
STEP_TESTS = ("multivariate", "neighbor")
SHIFT = {name: 4 * position for position, name in enumerate(TESTS)}
MISSING_THROUGHOUT = int(Flag.MISSING) << SHIFT["gross_range"]


def pack(flags: Mapping[str, Flag]) -> int:
    """Return the packed form of one reading's flags; PASS leaves no trace."""
    packed = 0
    for name, flag in flags.items():
        if flag is not Flag.PASS:
            packed |= int(flag) << SHIFT[name]
    return packed


def unpack(packed: int) -> dict[str, Flag]:
    """Return the flags other than PASS by the name of their test."""
    return {name: Flag(nibble) for name, shift in SHIFT.items() if (nibble := packed >> shift & 15)}


@lru_cache(maxsize=4096)
def primary(packed: int, tests: int) -> int:
    """Return the primary flag of a reading that was judged by `tests` tests.

    FAIL beats SUSPECT, any verdict beats NOT_EVALUATED; see `rules.flags.primary_flag`.
    """
    if not packed:
        return int(Flag.PASS) if tests else int(Flag.NOT_EVALUATED)
    worst = 0
    silent = 0
    while packed:
        nibble = packed & 15
        packed >>= 4
        if nibble in (Flag.SUSPECT, Flag.FAIL):
            worst = max(worst, nibble)
        elif nibble == Flag.MISSING:
            return int(Flag.MISSING)
        elif nibble == Flag.NOT_EVALUATED:
            silent += 1
    if worst:
        return worst
    return int(Flag.NOT_EVALUATED) if silent >= tests else int(Flag.PASS)
