"""What planned work leaves of a reading's flags: tests that ask how water moves have no answer then."""

from __future__ import annotations

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
    """Return packed and primary flags in which the disturbed tests are NOT_EVALUATED, as new lists."""
    packed, flags = list(packed), list(flags)
    # The limits of a test bear its name; those of two series have not judged yet.
    tests = [name for name in TESTS if name not in STEP_TESTS and getattr(rules, name) is not None]
    for position, time_us in enumerate(times_us):
        if is_disturbed(time_us, disturbed):
            bits = packed[position]
            for name in tests:
                if name in DISTURBED_TESTS:
                    bits = bits & ~(0xF << SHIFT[name]) | int(Flag.NOT_EVALUATED) << SHIFT[name]
            packed[position], flags[position] = bits, primary(bits, len(tests))
    return packed, flags
