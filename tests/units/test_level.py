"""Heights and raw counts through the table of a vessel's shape; expected litres are computed by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.configuration import LevelTable
from collector.errors import ConfigError, PayloadError
from collector.units import converter
from tests.units.series import RESERVOIR, series

# A float potentiometer: raw counts rise with the level.
COUNTS = LevelTable("count", (112.0, 500.0, 900.0), (0.0, 10.0, 22.0))
# A distance sensor above the water: the further away, the less there is.
FROM_ABOVE = LevelTable("mm", (50.0, 350.0), (24.0, 0.0))


@pytest.mark.parametrize(
    ("height", "litres"), [(0.0, 0.0), (5.0, 3.0), (10.0, 6.0), (20.0, 12.25), (29.9, 18.4375), (30.0, 18.5)]
)
def test_between_rows_is_a_straight_line(height: float, litres: float) -> None:
    assert converter("cm", series("volume", level_table=RESERVOIR))(height) == pytest.approx(litres)


@pytest.mark.parametrize(("height", "is_inside"), [(-0.01, False), (0.0, True), (30.0, True), (30.01, False)])
def test_beyond_the_table_is_refused_and_not_guessed(height: float, is_inside: bool) -> None:
    convert = converter("cm", series("volume", level_table=RESERVOIR))
    if is_inside:
        convert(height)
        return
    with pytest.raises(PayloadError, match="outside the level table, 0 to 30 cm"):
        convert(height)


@pytest.mark.parametrize(("spelling", "top"), [("mm", 300.0), ("m", 0.3), ("in", 30 / 2.54)])
def test_last_row_is_inside_in_any_unit(spelling: str, top: float) -> None:
    convert = converter(spelling, series("volume", level_table=RESERVOIR))
    assert convert(top) == pytest.approx(18.5)


def test_table_in_inches() -> None:
    table = LevelTable("in", (0.0, 10.0), (0.0, 25.4))
    assert converter("cm", series("volume", level_table=table))(12.7) == pytest.approx(12.7)


@pytest.mark.parametrize(("count", "litres"), [(112.0, 0.0), (306.0, 5.0), (500.0, 10.0), (700.0, 16.0)])
def test_raw_counts(count: float, litres: float) -> None:
    assert converter(None, series("volume", level_table=COUNTS))(count) == pytest.approx(litres)


def test_litres_may_fall_with_the_distance() -> None:
    assert converter(None, series("volume", level_table=FROM_ABOVE))(200.0) == pytest.approx(12.0)


@pytest.mark.parametrize(("table", "spelling"), [(COUNTS, "cm"), (RESERVOIR, "count")])
def test_counts_are_no_heights(table: LevelTable, spelling: str) -> None:
    with pytest.raises(ConfigError, match="do not fit a level table"):
        converter(spelling, series("volume", level_table=table))


@pytest.mark.parametrize("unit", ["L", "degC", "fathom"])
def test_table_of_no_heights_is_refused(unit: str) -> None:
    table = LevelTable(unit, (0.0, 10.0), (0.0, 6.0))
    with pytest.raises(ConfigError, match="is no height"):
        converter("cm", series("volume", level_table=table))


@given(st.floats(0.0, 30.0), st.floats(0.0, 30.0))
def test_more_height_is_not_less_water(one: float, other: float) -> None:
    convert = converter("cm", series("volume", level_table=RESERVOIR))
    low, high = sorted((one, other))
    assert convert(low) <= convert(high)
