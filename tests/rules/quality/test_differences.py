"""Every deliberate difference from ioos_qc is a row that a case shows, and no row is idle."""

from __future__ import annotations

import numpy as np
import pytest
from ioos_qc import qartod

from rules import FlatLineLimits, GapLimits, GrossRangeLimits
from tests.rules.quality.differences import ROWS, SECOND, Row, unexplained
from tests.rules.quality.library import MINUTE, Case, every, ours, theirs


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_the_case_of_a_row_shows_its_difference(row: Row):
    assert row.case.test == row.test
    mine, other = ours(row.case), theirs(row.case)
    mask = row.covers(row.case)
    shown = {(a, b) for a, b, covered in zip(mine, other, mask, strict=True) if covered and a != b}
    assert shown & row.pairs, (mine, other)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_the_case_of_a_row_is_explained_with_it_and_not_without(row: Row):
    assert unexplained(row.case, ROWS) == []
    assert unexplained(row.case, [one for one in ROWS if one is not row]) != []


def test_each_row_has_its_name_and_its_reason():
    assert len({row.name for row in ROWS}) == len(ROWS)
    assert all(row.reason for row in ROWS)


# What one side refuses cannot stand in a table of flags.


def test_a_span_upside_down_is_refused_here_and_sorted_there():
    with pytest.raises(ValueError, match="upside down"):
        GrossRangeLimits(30, 20)
    assert qartod.gross_range_test([25.0, 35.0], (30, 20)).tolist() == [1, 4]


def test_a_single_reading_has_no_gap_here_and_no_answer_there():
    case = Case("gap", GapLimits(MINUTE), [1.0], [0])
    assert ours(case) == [1]
    with pytest.raises(IndexError):
        theirs(case)


def test_readings_within_a_second_are_judged_here_and_have_no_answer_there():
    """An interval of less than a second is zero there, and a count of readings infinite."""
    case = Case("flat_line", FlatLineLimits(0.0, SECOND, 2 * SECOND), [1.0] * 6, every(SECOND // 2, 6))
    assert ours(case) == [2, 2, 3, 3, 4, 4]
    with pytest.raises(ValueError, match="negative dimensions"):
        theirs(case)


def test_no_readings_have_no_flags_here_and_no_answer_there():
    assert ours(Case("gross_range", GrossRangeLimits(0, 1), [], [])) == []
    with pytest.raises(IndexError):
        qartod.spike_test(np.array([]), 1.0, 2.0)
