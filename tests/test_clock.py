"""Tank time over wall time, and a clock that goes on in another process."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.clock import Clock, SteadyWall

instants = st.integers(0, 2**52)


@given(
    instants, st.one_of(st.none(), instants), st.sampled_from([0.5, 1.0, 60.0, 288.0]), st.integers(0, 2**45)
)
def test_a_noted_clock_goes_on_elsewhere(
    wall_us: int, start_us: int | None, rate: float, gone_us: int
) -> None:
    wall = [wall_us]
    clock = Clock(start_us, rate, lambda: wall[0])
    note = clock.note()
    wall[0] += gone_us
    assert Clock.of_note(note, lambda: wall[0]).now_us() == clock.now_us()


def test_the_wall_clock_needs_no_note_and_follows_steps_of_the_wall() -> None:
    wall = [1_000]
    clock = Clock(wall=lambda: wall[0])
    assert clock.note() == ""
    again = Clock.of_note(None, lambda: wall[0])
    wall[0] = 50
    assert clock.now_us() == again.now_us() == 50


def test_a_clock_with_an_end_stands_still_there():
    wall = [1_000_000]
    clock = Clock(500, 2.0, lambda: wall[0], end_us=1_000)
    wall[0] += 100
    assert clock.now_us() == 700
    wall[0] += 1_000_000
    assert clock.now_us() == 1_000


moves = st.lists(st.tuples(st.integers(0, 10**10), st.integers(-(10**12), 10**12)), min_size=1, max_size=30)


@given(instants, instants, moves)
def test_a_steady_wall_follows_the_wall_and_else_runs_on_at_nine_tenths(
    known_us: int, wall_us: int, moved: list[tuple[int, int]]
) -> None:
    at_us, wall = [0], [wall_us]
    steady = SteadyWall(known_us, lambda: wall[0], lambda: at_us[0] / 1e6)
    before_us = steady()
    assert before_us == max(known_us, wall_us)
    for passed_us, stepped_us in moved:
        at_us[0] += passed_us
        wall[0] += passed_us + stepped_us
        now_us = steady()
        least_us = before_us + passed_us * 9 / 10
        assert abs(now_us - max(wall[0], least_us)) <= 2
        assert now_us >= before_us
        assert steady.lead_us == now_us - wall[0]
        before_us = now_us


def test_a_clock_that_was_set_back_by_an_hour_has_caught_up_after_ten() -> None:
    at_s = [0.0]
    steady = SteadyWall(3600 * 10**6, lambda: int(at_s[0] * 1e6), lambda: at_s[0])
    at_s[0] = 9.9 * 3600
    steady()
    assert steady.lead_us > 0
    at_s[0] = 10 * 3600 + 1
    steady()
    assert steady.lead_us == 0
