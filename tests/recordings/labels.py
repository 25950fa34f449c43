"""What people said of recorded series: which rows they rejected, and why, as stretches of time.

Estuary sondes with human QAQC flags (NOAA NERRS System-wide Monitoring Program), stream sondes with a
technician's corrections (Logan River Observatory); they lie beside the checkout, with their provenance.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

# Flags of a row that a person rejected while there was a value.
REJECTED_BY_A_PERSON = "<-3"
# Rejected rows closer than an hour belong to one stretch; fewer than four rows are single spikes.
JOIN_ROWS = 4
FEWEST_ROWS = 4

SONDES = (
    "nerr-swmp/apacpwq_2012.csv.gz",
    "nerr-swmp/apacpwq_2013.csv.gz",
    "nerr-swmp/cbvgiwq_2010.csv.gz",
    "nerr-swmp/cbvgiwq_2011.csv.gz",
    "nerr-swmp/cbvgiwq_2012.csv.gz",
    "nerr-swmp/gndblwq_2021-07_2021-08.csv.gz",
    "nerr-swmp/noczbwq_2011.csv.gz",
    "lro-logan-river/BlackSmithFork2015.csv.gz",
    "lro-logan-river/FranklinBasin2014.csv.gz",
    "lro-logan-river/TonyGrove2014.csv.gz",
    "lro-logan-river/TonyGrove2019.csv.gz",
)
# Reserve code or technician's qualifier -> what was wrong. The codes of the river are not published with it;
# what they mean was inferred from what was done to the data (see its provenance).
_KINDS = {
    "SOW": "out of the water",
    "GOW": "out of the water",
    "CWD": "hung at the wrong depth",
    "GMC": "out of the water",
    "SSD": "fouled or drifted",
    "SPC": "failed a later bench check",
    "GQR": "fouled or drifted",
    "SCF": "beside a rejected conductivity",
    "STF": "broken sensor",
    "SSM": "broken sensor",
    "GIM": "broken sensor",
    "1.0": "error values and single bad points",
    "2.0": "broken sensor",
    "4.0": "adjusted or doubted",
    "5.0": "ice, removed",
    "7.0": "service visit or out of the water",
    "10.0": "long offset, adjusted",
}


class Stretch(NamedTuple):
    """A stretch that people rejected, and why."""

    start: pd.Timestamp
    end: pd.Timestamp
    kind: str


def table_of(path: Path) -> tuple[pd.DataFrame, pd.DatetimeIndex]:
    """The rows of a file and their instants."""
    table = pd.read_csv(path, low_memory=False)
    return table, pd.DatetimeIndex(pd.to_datetime(table["timestamp"], utc=True))


def rejected_rows(table: pd.DataFrame, series: str) -> np.ndarray:
    """Rows with a value that a person rejected."""
    if f"f_{series}" in table:
        by_a_person = table[f"f_{series}"].astype(str).str.startswith(REJECTED_BY_A_PERSON)
        return (by_a_person & table[series].notna()).to_numpy()
    if f"{series}_anom" in table:
        return (table[f"{series}_anom"] == 1).to_numpy()
    return np.zeros(len(table), bool)


def passed_rows(table: pd.DataFrame, series: str) -> np.ndarray:
    """Rows with a value of which nobody said anything: neither rejected nor suspect nor corrected."""
    known = table[series].notna().to_numpy()
    if f"f_{series}" in table:
        return known & table[f"f_{series}"].astype(str).str.startswith(("<0>", "<4>")).to_numpy()
    if f"{series}_anom" in table:
        return known & (table[f"{series}_anom"] == 0).to_numpy()
    return known


def stretches(table: pd.DataFrame, times: pd.DatetimeIndex, series: str) -> list[Stretch]:
    """Stretches of a series that people rejected, in order."""
    found: list[list[int]] = []
    for row in np.flatnonzero(rejected_rows(table, series)):
        if found and row - found[-1][1] <= JOIN_ROWS:
            found[-1][1] = row
        else:
            found.append([row, row])
    return [
        Stretch(times[first], times[last], _kind(table, series, first, last))
        for first, last in found
        if last - first + 1 >= FEWEST_ROWS
    ]


def _kind(table: pd.DataFrame, series: str, first: int, last: int) -> str:
    """What was wrong in most of the rows."""
    if f"f_{series}" in table:
        code = str(table[f"f_{series}"][first : last + 1].mode()[0])
        for short, kind in _KINDS.items():
            if short in code:
                return kind
        return "other"
    codes = table[f"{series}_qual"][first : last + 1].dropna()
    return _KINDS.get(str(codes.mode()[0]), "other") if len(codes) else "other"
