"""What people ask for, and the plan that follows."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.recurrence import RecurringWork
from collector.requests import BeginWork, CancelWork, EndWork, ImportWorks, Plan, Request
from rules import HOUR_US, PlannedWork

NOW_US = 1_790_000_000_000_000
MINUTE = HOUR_US // 60


def ask(asked, *, after_min=0) -> Request:
    return Request(f"at {after_min}", NOW_US + after_min * MINUTE, "keeper", asked)


def begin(from_min=0, to_min=45, kind="water_change", tank="reef") -> BeginWork:
    return BeginWork(tank, kind, NOW_US + from_min * MINUTE, NOW_US + to_min * MINUTE)


def work(from_min=0, to_min=45, kind="water_change", tank="reef") -> PlannedWork:
    return PlannedWork(tank, kind, NOW_US + from_min * MINUTE, NOW_US + to_min * MINUTE)


def take(plan: Plan, asked, at_min: int = 0):
    return plan.take(ask(asked, after_min=at_min), NOW_US + at_min * MINUTE)


def plan_of(*works: PlannedWork) -> Plan:
    return Plan(works, ["reef", "nursery"])


def test_work_begins():
    plan = plan_of(work(tank="nursery"))
    assert take(plan, begin()) == ("at 0", True, "planned")
    assert set(plan.works) == {work(), work(tank="nursery")}


@pytest.mark.parametrize("from_min", [10, 45])
def test_work_that_goes_on_longer_is_one_work(from_min):
    plan = plan_of(work())
    assert take(plan, begin(from_min, 90), at_min=from_min).text == "it goes on"
    assert plan.works == (work(0, 90),)


def test_work_begun_before_its_planned_time_is_that_work():
    plan = plan_of(work(30, 75))
    take(plan, begin(0, 45))
    assert plan.works == (work(0, 45),)


def test_work_of_another_kind_or_time_stays_beside_it():
    plan = plan_of(work(kind="feeding_pause"), work(60, 90))
    take(plan, begin(0, 45))
    assert set(plan.works) == {work(), work(kind="feeding_pause"), work(60, 90)}


def test_work_ends_when_that_is_said_however_late_it_is_heard():
    plan = plan_of(work())
    answer = plan.take(ask(EndWork("reef"), after_min=20), NOW_US + 40 * MINUTE)
    assert answer == ("at 20", True, "water change in reef is over")
    assert plan.works == (work(0, 20),)


def test_work_that_ends_as_it_begins_was_none():
    plan = plan_of(work())
    take(plan, EndWork("reef", "water_change"))
    assert plan.works == ()


def test_only_what_goes_on_ends_and_only_what_is_to_come_is_cancelled():
    known = (work(), work(60, 90), work(60, 90, tank="nursery"))
    plan = plan_of(*known)
    take(plan, EndWork("reef"), at_min=10)
    assert set(plan.works) == {work(0, 10), *known[1:]}
    assert take(plan, CancelWork("reef"), at_min=10).text == "no longer planned in reef: water change"
    assert set(plan.works) == {work(0, 10), known[2]}


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        (begin(tank="pond"), "there is no tank 'pond': one of reef, nursery"),
        (EndWork("reef", "siesta"), "there is no work 'siesta': one of feeding_pause, water_change,"),
        (begin(0, 0), "ends before it begins"),
        (begin(0, 25 * 60), "lasts 25 h, 24 h at most"),
        (EndWork("reef"), "no planned work goes on in reef"),
        (EndWork("nursery", "calibration"), "no calibration goes on in nursery"),
        (CancelWork("reef", "feeding_pause"), "no feeding pause is to come in reef"),
    ],
)
def test_what_cannot_be_done_says_why_and_changes_nothing(asked, why):
    plan = plan_of(work(60, 90))
    answer = take(plan, asked)
    assert not answer.is_done
    assert why in answer.text
    assert plan.works == (work(60, 90),)


def test_what_is_long_over_is_forgotten():
    plan = plan_of(work())
    day_later = (work().forgotten_us - NOW_US) // MINUTE
    take(plan, EndWork("reef"), at_min=day_later - 1)
    assert plan.works == (work(),)
    take(plan, EndWork("reef"), at_min=day_later)
    assert plan.works == ()


# -- what recurs -------------------------------------------------------------------------------------

DAY = 24 * HOUR_US
FIRST = datetime(2026, 9, 1, 18, 0)
FEEDING = RecurringWork("reef", "feeding_pause", "UTC", FIRST, HOUR_US // 4, "FREQ=DAILY")
SIX = round(datetime(2026, 9, 21, 18, 0, tzinfo=UTC).timestamp()) * 1_000_000
EVENING = SIX + 4 * HOUR_US


def feeding(begin_us: int, lasts_us: int = HOUR_US // 4) -> PlannedWork:
    return PlannedWork("reef", "feeding_pause", begin_us, begin_us + lasts_us)


def test_what_recurs_is_planned_a_day_ahead_and_behind_for_a_backlog():
    plan = Plan((), ["reef"], [FEEDING])
    assert plan.look_ahead(EVENING)
    assert plan.works == (feeding(SIX), feeding(SIX + DAY))
    assert not plan.look_ahead(EVENING)
    assert plan.look_ahead(EVENING + DAY)
    assert feeding(SIX + 2 * DAY) in plan.works


def test_what_was_ended_or_cancelled_does_not_come_back_not_even_after_a_restart():
    plan = Plan((), ["reef"], [FEEDING])
    plan.look_ahead(EVENING)
    assert plan.take(ask(CancelWork("reef")), EVENING).is_done
    assert not plan.look_ahead(EVENING)
    assert plan.works == (feeding(SIX),)
    again = Plan(plan.works, ["reef"], [FEEDING], [feeding(SIX), feeding(SIX + DAY)])
    assert not again.look_ahead(EVENING)


def test_a_work_begun_early_is_the_recurring_one():
    plan = Plan((), ["reef"], [FEEDING])
    plan.look_ahead(EVENING)
    early_us = SIX + DAY - 10 * MINUTE
    request = Request(
        "early", early_us, "keeper", BeginWork("reef", "feeding_pause", early_us, early_us + 15 * MINUTE)
    )
    assert plan.take(request, early_us).text == "it goes on"
    plan.look_ahead(early_us)
    begun = [one for one in plan.works if SIX + DAY - HOUR_US < one.from_us < SIX + DAY + HOUR_US]
    assert begun == [feeding(early_us)]


def test_what_is_planned_by_hand_for_that_time_stands():
    own = feeding(SIX + DAY, HOUR_US)
    plan = Plan([own], ["reef"], [FEEDING])
    plan.look_ahead(EVENING)
    assert plan.works == (feeding(SIX), own)


def test_what_has_begun_is_remembered_for_two_days_and_no_longer():
    plan = Plan((), ["reef"], [FEEDING])
    for day in range(30):
        plan.look_ahead(EVENING + day * DAY)
        plan.take(ask(EndWork("reef")), EVENING + day * DAY)
        assert len(plan._begun) <= 5
        assert len(plan.works) <= 5


minutes = st.integers(0, 300)
kinds = st.sampled_from(["water_change", "feeding_pause"])
requests = st.one_of(
    st.builds(begin, minutes, minutes, kinds),
    st.builds(EndWork, st.just("reef"), kinds | st.just("")),
    st.builds(CancelWork, st.just("reef"), kinds | st.just("")),
)


@given(st.lists(st.tuples(st.integers(0, 20), requests), max_size=20))
def test_works_of_a_kind_never_overlap_and_nothing_goes_on_that_was_ended(asked):
    plan, now_min = plan_of(), 0
    for later_min, one in asked:
        now_min += later_min
        answer = take(plan, one, at_min=now_min)
        now_us = NOW_US + now_min * MINUTE
        for kind in ("water_change", "feeding_pause"):
            own = sorted((w.from_us, w.to_us) for w in plan.works if w.kind == kind)
            assert all(before[1] < after[0] for before, after in pairwise(own))
            if isinstance(one, EndWork) and one.kind in ("", kind):
                assert not any(a <= now_us < b for a, b in own)
            if isinstance(one, CancelWork) and one.kind in ("", kind):
                assert not any(a > now_us for a, _ in own)
        if isinstance(one, BeginWork) and answer.is_done:
            assert any(w.kind == one.kind and w.to_us == one.to_us for w in plan.works)


def daily(hour: int, minutes: int = 15, tank: str = "reef", kind: str = "feeding_pause") -> RecurringWork:
    starts = datetime.fromtimestamp(NOW_US / 1e6, UTC).replace(
        tzinfo=None, hour=hour, minute=0, second=0, microsecond=0
    ) - timedelta(days=5)
    return RecurringWork(tank, kind, "UTC", starts, minutes * MINUTE, "FREQ=DAILY")


def lengths(plan: Plan, tank: str = "reef") -> set[int]:
    return {
        (one.to_us - one.from_us) // MINUTE for one in plan.works if one.tank == tank and one.from_us > NOW_US
    }


def test_what_is_imported_takes_the_place_of_what_was_imported_for_that_tank_alone():
    plan = Plan((), ["reef", "nursery"], [daily(3, 5)], imported=[daily(9, 10, "nursery")])
    plan.look_ahead(NOW_US)
    answer = take(plan, ImportWorks("reef", (daily(8, 20),)))
    assert answer == ("at 0", True, "1 work planned from the file")
    assert lengths(plan) == {5, 20}
    take(plan, ImportWorks("reef", (daily(8, 25), daily(20, 30))))
    assert lengths(plan) == {5, 25, 30}
    take(plan, ImportWorks("reef", ()))
    assert (lengths(plan), lengths(plan, "nursery")) == ({5}, {10})


def test_an_import_leaves_alone_what_was_announced_by_hand_and_what_goes_on():
    plan = plan_of(work(-10, 45), work(120, 150, "calibration"))
    take(plan, ImportWorks("reef", (daily(8),)))
    take(plan, ImportWorks("reef", ()))
    assert {work(-10, 45), work(120, 150, "calibration")} <= set(plan.works)


def test_works_of_another_tank_or_kind_are_not_imported():
    plan = plan_of()
    assert not take(plan, ImportWorks("reef", (daily(8, tank="nursery"),))).is_done
    assert not take(plan, ImportWorks("reef", (daily(8, kind="party"),))).is_done
    assert not take(plan, ImportWorks("lagoon", ())).is_done
    assert plan.works == ()
