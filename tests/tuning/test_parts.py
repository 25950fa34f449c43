"""What is tried, which is chosen, and how a file is changed."""

from __future__ import annotations

import math
import tomllib
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import ConfigError
from collector.tuning import Parameter, Tried, Week, candidates, choose, parse_parameter, patched, written
from collector.tuning.candidates import neighbours
from collector.tuning.editing import patch_text, with_changes
from rules import HOUR_US, AlarmKey, Annotation, Evidence, Found, Incident, Priority, Weights

TEXT = """\
# My tank.
[tanks.reef.series.temperature]
quantity = "temperature" # water
alarm_low = "24 degC" # not lower
on_delay = "10 min"

[telling]
rings = 3
"""
LOW = ("tanks", "reef", "series", "temperature", "alarm_low")


# -- parameters ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "steps", "values"),
    [
        ("a.b=23 degC..24 degC", 3, ("23.00 degC", "23.50 degC", "24.00 degC")),
        ("a.b=23..24 degC", 2, ("23 degC", "24 degC")),
        ("a.b=5 min, 10 min", 7, ("5 min", "10 min")),
        ("a.b=0.1..0.4", 4, ("0.1", "0.2", "0.3", "0.4")),
        ("a.b=-2 cm..2 cm", 5, ("-2 cm", "-1 cm", "0 cm", "1 cm", "2 cm")),
    ],
)
def test_values_are_read_as_people_write_them(text, steps, values):
    found = parse_parameter(text, steps)
    assert found.path == ("a", "b")
    assert [_number_and_unit(one) for one in found.values] == [_number_and_unit(one) for one in values]


def _number_and_unit(text: str) -> tuple[float, str]:
    number, _, unit = text.partition(" ")
    return float(number), unit


@pytest.mark.parametrize(
    "text", ["a.b", "=1, 2", "a..b=1, 2", "a.b=1", "a.b=1, 1", "a.b=1 h..2 min", "a.b=low..high", "a.b=1,"]
)
def test_what_is_no_key_with_values_is_refused(text):
    with pytest.raises(ConfigError, match="--try"):
        parse_parameter(text, 3)


@given(st.lists(st.integers(2, 5), min_size=1, max_size=4), st.integers(1, 60), st.integers(0, 3))
def test_as_many_as_asked_for_are_tried_and_each_once(sizes, most, seed):
    parameters = [Parameter((f"k{place}",), tuple(map(str, range(size)))) for place, size in enumerate(sizes)]
    found = candidates(parameters, most, seed)
    assert len(found) == len(set(found)) == min(most, math.prod(sizes))
    assert found == candidates(parameters, most, seed)
    for one in found:
        assert all(value in parameter.values for value, parameter in zip(one, parameters, strict=True))


def test_neighbours_differ_by_one_step_of_one_value():
    parameters = [Parameter(("a",), ("1", "2", "3")), Parameter(("b",), ("x", "y"))]
    assert neighbours(("1", "y"), parameters) == [("2", "y"), ("1", "x")]
    assert neighbours(("2", "x"), parameters) == [("1", "x"), ("3", "x"), ("2", "y")]


# -- files -----------------------------------------------------------------------------------------


def test_a_change_leaves_everything_else_as_it_was():
    text = patched(TEXT, {LOW: "23.5 degC", ("telling", "rings"): "4"})
    assert text == TEXT.replace('"24 degC"', '"23.5 degC"').replace("rings = 3", "rings = 4")


def test_a_key_that_was_not_set_is_put_where_it_belongs():
    found = tomllib.loads(patched(TEXT, {("tanks", "reef", "faults", "leak", "on_delay"): "20 min"}))
    assert found["tanks"]["reef"]["faults"]["leak"] == {"on_delay": "20 min"}
    assert found["tanks"]["reef"]["series"]["temperature"]["alarm_low"] == "24 degC"


def test_the_patch_says_what_was_there_and_leaves_out_what_stays():
    text = patch_text(
        {LOW: "23.5 degC", ("telling", "rings"): "3", (*LOW[:-1], "deadband"): "0.1 degC"}, TEXT
    )
    assert text.splitlines() == [
        "[tanks.reef.series.temperature]",
        'alarm_low = "23.5 degC"  # it was "24 degC"',
        "[tanks.reef.series.temperature]",
        'deadband = "0.1 degC"  # it was not set',
    ]


def test_the_old_file_is_kept_with_its_mode(tmp_path):
    path = tmp_path / "brinebell.toml"
    path.write_text("old")
    path.chmod(0o600)
    kept = written(path, "new", datetime(2026, 3, 7, 2, 10, tzinfo=UTC))
    assert (path.read_text(), kept.read_text()) == ("new", "old")
    assert kept.name == "brinebell.toml.before-2026-03-07T021000"
    assert {one.stat().st_mode & 0o777 for one in (path, kept)} == {0o600}
    assert sorted(one.name for one in tmp_path.iterdir()) == [path.name, kept.name]


def test_a_file_that_cannot_be_written_stays_as_it_was(tmp_path):
    with pytest.raises(ConfigError, match="it is as it was"):
        written(tmp_path / "none" / "brinebell.toml", "new", datetime(2026, 3, 7, tzinfo=UTC))


# -- choosing --------------------------------------------------------------------------------------


def incident(hour: float) -> Incident:
    at_us = round(hour * HOUR_US)
    alarms = (AlarmKey("reef", "sump_level", "leak"),)
    return Incident(
        1, "reef", "leak", ("sump_level",), Priority.URGENT, at_us, at_us, None, Evidence(), alarms
    )


def week(delay: float | None, false: int = 0, nights: int = 0) -> Week:
    """A leak that begins at hour 0 and is told so late, None for never."""
    truth = Annotation("reef", "leak", 0, HOUR_US * 100)
    found = Found(truth) if delay is None else Found(truth, incident(delay), incident(delay))
    return Week((found,), tuple(incident(200) for _ in range(false)), nights, ())


def choice(before: list[Week], **tried: list[Week]):
    ones = [Tried((name,), tuple(weeks)) for name, weeks in tried.items()]
    return choose(Tried((), tuple(before)), ones, Weights(), lambda _: [("b",), ("z",)])


def test_cost_counts_hours_misses_false_alarms_and_nights():
    weights = Weights(delay=1.0, missed=48.0, false=4.0, night=12.0)
    weeks = (week(2.5, false=1, nights=1), week(None), week(100.0))
    # A very late alarm is as bad as none.
    assert Tried((), weeks).cost(weights) == 2.5 + 4.0 + 12.0 + 48.0 + 48.0
    assert Tried((), weeks).cost(weights, 1) == 48.0


def test_the_cheapest_is_chosen_and_equal_ones_leave_things_as_they_are():
    found = choice([week(3), week(3)], a=[week(2), week(2)], b=[week(2.5), week(2.5)])
    assert found.best.candidate == ("a",)
    assert found.beside == ((("b",), 5.0),)
    assert choice([week(3)], a=[week(3)], b=[week(4)]).best.candidate == ()


def test_the_trade_off_holds_what_nothing_beats():
    found = choice([week(3)], a=[week(2, false=1)], b=[week(2.5, false=1)], c=[week(1, false=3)])
    assert [one.candidate for one in found.front] == [(), ("a",), ("c",)]


def test_a_choice_is_tried_on_weeks_that_were_not_looked_at():
    """What is right for the first week is wrong for the second: no gain."""
    fitted = choice([week(3), week(3)], a=[week(1), week(9)], b=[week(4), week(1)])
    assert fitted.held_out.candidate == ("a",)
    assert (fitted.held_out.before, fitted.held_out.after, fitted.held_out.is_gain) == (3.0, 9.0, False)
    good = choice([week(3), week(3)], a=[week(2), week(2)])
    assert good.held_out.is_gain
    assert choice([week(3)], a=[week(2)]).held_out is None


@pytest.mark.parametrize(
    "changes",
    [
        {("tanks", "reef", "series", "temperature", "alarm_low"): "24.5 degC"},
        {("tanks", "reef", "series", "temperature", "alarm_on_delay"): "7 min"},
        {LOW: "23 degC", ("telling", "rings"): "4"},
    ],
    ids=["a key that is there", "a new key", "several tables"],
)
def test_tables_with_changes_are_those_of_the_file_that_is_written(changes):
    text = TEXT
    before = tomllib.loads(text)
    assert with_changes(before, changes) == tomllib.loads(patched(text, changes)) != before
    assert before == tomllib.loads(TEXT)


def test_a_key_whose_table_is_none_is_named():
    with pytest.raises(ConfigError, match=r"service\.folder\.deep: folder is no table"):
        with_changes({"service": {"folder": "data"}}, {("service", "folder", "deep"): "1"})
