"""What planned work leaves of a reading's flags: tests that ask how water moves have no answer then."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from rules.flags import Flag
from rules.planned_work import DISTURBED_TESTS, Span
from rules.quality.packed import SHIFT, STEP_TESTS, TESTS, primary
from rules.setup import SeriesRules


def is_disturbed(time_us: int, disturbed: Sequence[Span]) -> bool:
    """Whether a reading lies in one of these stretches of planned work."""
    return any(span.from_us <= time_us < span.to_us for span in disturbed)


def without_disturbed(
    rules: SeriesRules, disturbed: Sequence[Span], times_us: list[int], packed: list[int], flags: list[int]
) -> tuple[list[int], list[int]]:
    """Return packed and primary flags in which the disturbed tests are NOT_EVALUATED.

    `times_us` increase. What is given stays as it is; where no reading is disturbed it is returned.
    """
    parts = [
        (bisect_left(times_us, span.from_us), bisect_left(times_us, span.to_us))
        for span in disturbed
        if span.from_us <= times_us[-1] and times_us[0] < span.to_us
    ]
    if not parts:
        return packed, flags
    packed, flags = list(packed), list(flags)
    # The limits of a test bear its name; those of two series have not judged yet.
    tests = [name for name in TESTS if name not in STEP_TESTS and getattr(rules, name) is not None]
    spoilt = [SHIFT[name] for name in tests if name in DISTURBED_TESTS]
    kept = ~sum(0xF << shift for shift in spoilt)
    silent = sum(int(Flag.NOT_EVALUATED) << shift for shift in spoilt)
    for start, end in parts:
        for position in range(start, end):
            bits = packed[position] & kept | silent
            packed[position], flags[position] = bits, primary(bits, len(tests))
    return packed, flags
