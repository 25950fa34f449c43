"""What rang against what truly happened: found, late, misnamed, missed, false."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import HOUR_US, AlarmKey, Annotation, Evidence, Incident, Priority, score

DAY_US = 24 * HOUR_US


def incident(number: int, hour: float, cause: str = "leak", tank: str = "reef") -> Incident:
    at_us = round(hour * HOUR_US)
    return Incident(
        number=number,
        tank=tank,
        cause=cause,
        series=("sump_level",),
        priority=Priority.URGENT,
        first_evidence_us=at_us,
        alarmed_at_us=at_us,
        ended_at_us=None,
        evidence=Evidence(),
        alarms=(AlarmKey(tank, "sump_level", cause),),
    )


def annotation(cause: str, first: float, last: float | None = None, **more: object) -> Annotation:
    to_us = None if last is None else round(last * HOUR_US)
    return Annotation("reef", cause, round(first * HOUR_US), to_us, **more)


def test_an_alarm_is_found_by_its_own_name_first_and_counts_once():
    truths = [annotation("leak", 10, 20), annotation("probe_stuck", 12, 20)]
    rang = [incident(1, 13, "leak"), incident(2, 14, "probe_stuck"), incident(3, 15, "leak")]
    found = score(truths, rang, rang, 0, 2 * DAY_US)
    assert [one.first.number for one in found.found] == [1, 2]
    assert [one.delay_us / HOUR_US for one in found.found] == [3.0, 2.0]
    assert all(one.is_named for one in found.found)
    assert found.false == ()


def test_an_alarm_of_another_name_belongs_to_what_began_last_and_is_misnamed():
    truths = [annotation("leak", 10, 20), annotation("probe_stuck", 12, 20)]
    rang = [incident(1, 13, "over_limit")]
    found = score(truths, rang, rang, 0, 2 * DAY_US)
    assert [one.first and one.is_named for one in found.found] == [None, False]
    assert [one.cause for one in found.missed] == ["leak"]


@pytest.mark.parametrize(("hour", "is_false"), [(9.99, True), (10.0, False), (21.0, False), (21.01, True)])
def test_what_rings_before_or_an_hour_after_is_false(hour, is_false):
    rang = [incident(1, hour)]
    found = score([annotation("leak", 10, 20)], rang, rang, 0, 2 * DAY_US)
    assert bool(found.false) is is_false


def test_another_tank_has_nothing_to_do_with_it():
    rang = [incident(1, 12, tank="nursery")]
    found = score([annotation("leak", 10, 20)], rang, rang, 0, 2 * DAY_US)
    assert len(found.false) == len(found.missed) == 1


def test_what_somebody_found_to_be_nothing_is_false_and_no_cause():
    rang = [incident(1, 12)]
    truths = [annotation("nothing", 10, 20), annotation("planned_work", 10, 20)]
    found = score(truths, rang, rang, 0, 2 * DAY_US)
    assert found.found == ()
    assert len(found.false) == 1


def test_late_is_what_somebody_said_should_have_rung_before():
    rang = [incident(1, 12)]
    truth = annotation("leak", 10, 20, ring_by_us=round(11.5 * HOUR_US))
    assert score([truth], rang, rang, 0, 2 * DAY_US).found[0].is_late
    assert not score([annotation("leak", 10, 20)], rang, rang, 0, 2 * DAY_US).found[0].is_late


def test_rates_count_the_time_without_a_cause():
    """30.4375 days are a month; 20 h and the hour behind, twice overlapping, are taken off ten days."""
    truths = [annotation("leak", 10, 20), annotation("probe_stuck", 15, 30), annotation("leak", 400, 410)]
    rang = [incident(1, 100), incident(2, 101, "over_limit")]
    found = score(truths, rang, rang, 0, 10 * DAY_US)
    assert found.months == pytest.approx((10 - 21 / 24) / 30.4375)
    assert found.false_a_month == pytest.approx(2 / found.months)
    assert [one.cause for one in found.missed] == ["leak", "probe_stuck"]


def test_where_something_is_always_the_matter_there_is_no_rate():
    assert math.isnan(score([annotation("leak", 0)], [], [], 0, DAY_US).false_a_month)


@given(
    st.lists(st.tuples(st.floats(0, 200), st.floats(0.1, 50)), max_size=5),
    st.lists(st.floats(0, 240), max_size=6),
)
def test_every_alarm_is_either_false_or_there_was_a_cause(spans, hours):
    truths = [annotation("leak", first, first + lasts) for first, lasts in spans]
    rang = [incident(number, hour) for number, hour in enumerate(hours, start=1)]
    found = score(truths, rang, rang, 0, 10 * DAY_US)
    false = {one.number for one in found.false}
    for one in rang:
        assert (one.number in false) is not any(truth.holds(one.alarmed_at_us) for truth in truths)
    assert 0.0 <= found.months <= 10 / 30.4375
