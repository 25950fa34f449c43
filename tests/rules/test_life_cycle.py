"""The life of an alarm against the state table of ISA-18.2-2016 / IEC 62682.

The standards are paywalled. The rows below are those that open secondary texts quote (a course on industrial
control; a research note that cites authors of ISA-18.2 and the preview of IEC 62682:2022).
"""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.alarm import DelayedAlarm
from rules.life_cycle import (
    HOLDS,
    LONGEST_SHELF_US,
    AlarmLife,
    AlarmState,
    Hold,
    Step,
    is_annunciated,
)

NORMAL, UNACK, ACKED = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
RTN_UNACK, LATCHED = AlarmState.RETURNED_UNACKNOWLEDGED, AlarmState.LATCHED
LATCHED_UNACK, SHELVED = AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.SHELVED
RAISE, RETURN, ACKNOWLEDGE, RESET, REALARM = Step

# How each state is reached.
PLAIN = {
    NORMAL: (),
    UNACK: (RAISE,),
    ACKED: (RAISE, ACKNOWLEDGE),
    RTN_UNACK: (RAISE, RETURN),
}
LATCHES = {
    NORMAL: (),
    UNACK: (RAISE,),
    ACKED: (RAISE, ACKNOWLEDGE),
    LATCHED_UNACK: (RAISE, RETURN),
    LATCHED: (RAISE, ACKNOWLEDGE, RETURN),
}
# From, step, to: every pair that is not here must leave the state as it is.
QUOTED_PLAIN = {
    (NORMAL, RAISE): UNACK,
    (UNACK, ACKNOWLEDGE): ACKED,
    (UNACK, RETURN): RTN_UNACK,
    (ACKED, RETURN): NORMAL,
    # "Re-alarm", as OPC UA Part 9 describes it.
    (ACKED, REALARM): UNACK,
    (RTN_UNACK, ACKNOWLEDGE): NORMAL,
    (RTN_UNACK, RAISE): UNACK,
}
QUOTED_LATCHING = {
    (NORMAL, RAISE): UNACK,
    (UNACK, ACKNOWLEDGE): ACKED,
    # "Unacknowledged, latching, already cleared: acknowledge leads to latched."
    (UNACK, RETURN): LATCHED_UNACK,
    (LATCHED_UNACK, ACKNOWLEDGE): LATCHED,
    (ACKED, RETURN): LATCHED,
    (ACKED, REALARM): UNACK,
    (LATCHED, RESET): NORMAL,
    # Not quoted; common practice, no source: a condition that comes back is told anew.
    (LATCHED_UNACK, RAISE): UNACK,
    (LATCHED, RAISE): UNACK,
}


def lived(steps, *, is_latching=False) -> AlarmLife:
    life = AlarmLife(is_latching=is_latching)
    for step in steps:
        life = life.after(step)
    return life


@pytest.mark.parametrize(("state", "step"), list(product(PLAIN, Step)))
def test_each_step_from_each_state(state, step):
    life = lived(PLAIN[state])
    assert life.state is state
    assert life.after(step).state is QUOTED_PLAIN.get((state, step), state)


@pytest.mark.parametrize(("state", "step"), list(product(LATCHES, Step)))
def test_each_step_from_each_state_of_an_alarm_that_latches(state, step):
    life = lived(LATCHES[state], is_latching=True)
    assert life.state is state
    assert life.after(step).state is QUOTED_LATCHING.get((state, step), state)


def test_a_reset_while_the_cause_is_there_does_nothing():
    for steps in (RAISE,), (RAISE, ACKNOWLEDGE):
        life = lived(steps, is_latching=True)
        assert life.after(RESET) == life


@pytest.mark.parametrize("kind", HOLDS)
@pytest.mark.parametrize(("state", "is_latching"), [*product(PLAIN, [False]), *product(LATCHES, [True])])
def test_any_state_can_be_held_and_the_live_condition_says_what_comes_after(kind, state, is_latching):
    life = lived((LATCHES if is_latching else PLAIN)[state], is_latching=is_latching)
    held = life.held(hold(kind))
    assert held.state is kind
    assert held.released(kind).state is (UNACK if life.is_active else NORMAL)
    assert held.after(RAISE).released(kind).state is UNACK
    assert held.after(RETURN).released(kind).state is NORMAL
    # Who acknowledges what is held has not seen what comes after.
    assert held.after(RAISE).after(ACKNOWLEDGE).released(kind).state is UNACK


def test_the_kinds_of_hold_are_apart_from_one_another():
    life = lived([RAISE])
    for kind in HOLDS:
        life = life.held(hold(kind))
    seen = []
    for kind in HOLDS:
        seen.append(life.state)
        life = life.released(kind)
    assert seen == list(HOLDS)
    assert life.state is UNACK


def test_what_is_shelved_comes_back_by_itself_and_is_annunciated_again():
    shelved = lived([RAISE, ACKNOWLEDGE]).held(hold(SHELVED, until_us=100))
    assert shelved.wakes_us == 100
    assert shelved.at(99).state is SHELVED
    back = shelved.at(100)
    assert back.state is UNACK
    assert back.wakes_us is None
    assert is_annunciated(shelved, back)


@pytest.mark.parametrize("until_us", [None, -1, 0, LONGEST_SHELF_US + 1])
def test_nothing_is_shelved_for_ever_or_for_no_time(until_us):
    with pytest.raises(ValueError, match=rf"shelved until .* within 24 h of it, not until {until_us}"):
        hold(SHELVED, until_us=until_us)


def test_a_hold_ends_behind_its_beginning_and_is_one_of_three():
    with pytest.raises(ValueError, match="ends behind its beginning at 0, not at 0"):
        hold(AlarmState.SUPPRESSED, until_us=0)
    with pytest.raises(ValueError, match="'latched' holds no alarm: out of service, shelved, suppressed"):
        hold(LATCHED)


def test_the_worked_example_of_the_on_delay():
    """Three seconds of on-delay and no off-delay, from the course: what is shown from which second on."""
    delays = DelayedAlarm(3, 0)
    life, shown = AlarmLife(), []
    on = {1, *range(4, 11), *range(13, 18)}
    acknowledged = {9}
    for second in range(20 + 1):
        # An acknowledgement comes before an alarm of the same step.
        if second in acknowledged or second == 20:
            life = life.after(ACKNOWLEDGE)
        for change in delays.observe(second, second, second, second in on, second not in on, True):
            life = life.after(RAISE if change.is_raised else RETURN)
        if not shown or shown[-1][1] is not life.state:
            shown.append((second, life.state))
    assert shown == [
        (0, NORMAL),
        (7, UNACK),
        (9, ACKED),
        (11, NORMAL),
        (16, UNACK),
        (18, RTN_UNACK),
        (20, NORMAL),
    ]


def hold(kind, until_us=50) -> Hold:
    return Hold(kind, 0, until_us, "keeper", "trying")


actions = st.one_of(
    st.sampled_from(Step).map(lambda step: lambda life: life.after(step)),
    st.sampled_from(HOLDS).map(lambda kind: lambda life: life.held(hold(kind))),
    st.sampled_from(HOLDS).map(lambda kind: lambda life: life.released(kind)),
    st.sampled_from([49, 50]).map(lambda time_us: lambda life: life.at(time_us)),
)


@given(st.lists(actions, max_size=30), st.booleans())
def test_what_is_shown_never_denies_the_condition(steps, is_latching):
    life = AlarmLife(is_latching=is_latching)
    for step in steps:
        life = step(life)
        if life.holds:
            assert life.state in HOLDS
        elif life.is_active:
            assert life.state in {UNACK, ACKED}
        else:
            assert life.state in {NORMAL, RTN_UNACK, LATCHED, LATCHED_UNACK}
        assert is_latching or life.state not in {LATCHED, LATCHED_UNACK}
        assert not is_latching or life.state is not RTN_UNACK
