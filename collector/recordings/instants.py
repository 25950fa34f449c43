"""A column of times, however they are written, as microseconds since 1970 UTC."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from collector.recordings.form import Form
from rules import MICROSECONDS, IntArray

if TYPE_CHECKING:
    import pandas as pd

BoolArray = npt.NDArray[np.bool_]

_UTC = ("Z", "z")
_OFFSET = re.compile(r"[+-]\d\d:?\d\d$")
# Unix seconds of the years 1 to 9999, which calendars and RFC 3339 can name: milliseconds are far beyond.
_FIRST_S, _END_S = -62_135_596_800, 253_402_300_800


def instants(column: pd.Series, form: Form) -> tuple[IntArray, BoolArray]:
    """Microseconds since 1970 UTC and which rows have none; each spelling is parsed once."""
    import pandas as pd

    if isinstance(column.dtype, pd.DatetimeTZDtype):
        return _of_stamps(column.dt.tz_convert("UTC"))
    if column.dtype.kind == "M":
        return _of_stamps(_in_zone(column, form))
    if column.dtype.kind in "iuf" and form.time_format is None:
        return _of_seconds(column.to_numpy(float))
    codes, spellings = pd.factorize(column.astype(str))
    # One by one out of numpy: out of pandas each is ten times as dear.
    texts = pd.Series([str(spelling).strip() for spelling in np.asarray(spellings, object)], dtype=object)
    values, bad = _of_texts(texts, form)
    return values[codes], bad[codes]


def _of_texts(texts: pd.Series, form: Form) -> tuple[IntArray, BoolArray]:
    import pandas as pd

    if form.time_format is not None:
        has_zone = "%z" in form.time_format
        stamps = pd.to_datetime(texts, format=form.time_format, errors="coerce", utc=has_zone)
        return _of_stamps(stamps if has_zone else _in_zone(stamps, form))
    is_zoned = np.array([text.endswith(_UTC) or _OFFSET.search(text) is not None for text in texts], bool)
    zoned = pd.to_datetime(texts.where(is_zoned), utc=True, format="ISO8601", errors="coerce")
    values, bad = _of_stamps(zoned)
    if bad.any():
        _fill(values, bad, _of_seconds(pd.to_numeric(texts.where(bad), errors="coerce").to_numpy(float)))
    if form.zone is not None:
        # A bare number is Unix seconds, and no year.
        plain = texts.where(~is_zoned & bad)
        _fill(
            values, bad, _of_stamps(_in_zone(pd.to_datetime(plain, format="ISO8601", errors="coerce"), form))
        )
    return values, bad


def _fill(values: IntArray, bad: BoolArray, found: tuple[IntArray, BoolArray]) -> None:
    times_us, is_bad = found
    values[~is_bad] = times_us[~is_bad]
    bad &= is_bad


def _of_seconds(numbers: npt.NDArray[np.float64]) -> tuple[IntArray, BoolArray]:
    good = (numbers >= _FIRST_S) & (numbers < _END_S)
    values = np.zeros(len(numbers), np.int64)
    values[good] = np.round(numbers[good] * MICROSECONDS).astype(np.int64)
    return values, ~good


def _in_zone(stamps: pd.Series, form: Form) -> pd.Series:
    """Times of a wall's clock as instants; of an hour that it shows twice the first, of one it skips none."""
    import pandas as pd

    if form.zone is None:
        return pd.to_datetime(pd.Series([None] * len(stamps), index=stamps.index), utc=True)
    first = np.ones(len(stamps), bool)
    return stamps.dt.tz_localize(form.zone, ambiguous=first, nonexistent="NaT").dt.tz_convert("UTC")


def _of_stamps(stamps: pd.Series) -> tuple[IntArray, BoolArray]:
    known = stamps.notna().to_numpy()
    values = np.zeros(len(stamps), np.int64)
    values[known] = stamps[known].dt.as_unit("us").astype(np.int64).to_numpy()
    return values, ~known
