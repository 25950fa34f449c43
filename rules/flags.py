"""The flags of the IOOS QARTOD manuals, and how several of them become one."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum


class Flag(IntEnum):
    """A quality flag (IOOS QARTOD Data-Flags Manual v1.2, 2020)."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


# Low to high: any verdict beats "not evaluated", and "missing" stays only where every test says so.
# The same order as `qartod_compare` of ioos_qc 3.0.0.
_ORDER = (Flag.MISSING, Flag.NOT_EVALUATED, Flag.PASS, Flag.SUSPECT, Flag.FAIL)
_RANK = {flag: rank for rank, flag in enumerate(_ORDER)}


def primary_flag(flags: Iterable[Flag]) -> Flag:
    """Return the one flag that stands for several tests of the same reading.

    No flags at all give NOT_EVALUATED.
    """
    return max(flags, key=_RANK.__getitem__, default=Flag.NOT_EVALUATED)
