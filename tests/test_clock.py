"""Tank time over wall time, and a clock that goes on in another process."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.clock import Clock

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
