"""Probe faults that people flagged in real recordings: no fewer told, and no more in vain, than measured.

The figures and how they come about: `tests/bench/real_faults.py`, `tests/bench/README.md`.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pandas as pd
import pytest

from tests.bench.real_faults import BOUNDS, bounds_of, judge
from tests.recordings.labels import SONDES, passed_rows, stretches, table_of
from tests.recordings.signs import SHOWING, SPANS, sign_of

MEASURED = json.loads(BOUNDS.read_text())
# Stretches that people rejected, by what they show; counted once from the files, by the rule of `signs.py`.
SIGNS = {
    "away": 86,
    "empty": 267,
    "impossible": 10,
    "nothing": 131,
    "rough": 12,
    "step": 31,
    "still": 51,
    "unknown": 21,
}


# Short ones: the others take six minutes more of a core, and are judged by
# `python -m tests.bench.real_faults`, whose bounds are for all.
HELD = (
    "nerr-swmp/gndblwq_2021-07_2021-08.csv.gz",
    "lro-logan-river/BlackSmithFork2015.csv.gz",
    "lro-logan-river/FranklinBasin2014.csv.gz",
    "lro-logan-river/TonyGrove2014.csv.gz",
)


@pytest.mark.long
@pytest.mark.shared_data
@pytest.mark.parametrize("file", HELD)
def test_no_fewer_stretches_are_told_and_no_more_rings_in_vain(shared_data: Path, file: str):
    found = bounds_of(judge(file, shared_data))
    assert found.keys() == MEASURED[file].keys()
    for series, measured in MEASURED[file].items():
        assert found[series]["told"] >= measured["told"], series
        assert found[series]["told_of_showing"] >= measured["told_of_showing"], series
        assert found[series]["in_vain"] <= measured["in_vain"], series


@pytest.mark.shared_data
def test_the_denominators_are_those_of_the_files(shared_data: Path):
    """What is told is a share of these, whoever tells: 609 stretches, 457 of which show anything."""
    counts: Counter[str] = Counter()
    for file in SONDES:
        table, times = table_of(shared_data / file)
        for series in SPANS.keys() & set(table.columns):
            values = pd.to_numeric(table[series], errors="coerce").to_numpy(float)
            passed = passed_rows(table, series)
            for stretch in stretches(table, times, series):
                rows = times.searchsorted(stretch.start), times.searchsorted(stretch.end)
                counts[sign_of(series, values, passed, *rows)] += 1
    assert counts == SIGNS
    assert sum(counts[sign] for sign in SHOWING) == 457


def test_all_files_are_measured():
    assert MEASURED.keys() == set(SONDES)
