"""Pauses after failures, and batches that become smaller."""

from __future__ import annotations

from collector.mirror import Pace


def test_pauses_double_up_to_the_longest_and_begin_anew_after_a_success() -> None:
    pace = Pace(chance=lambda: 1.0)
    assert [pace.fail() for _ in range(10)] == [1, 2, 4, 8, 16, 32, 64, 128, 256, 300]
    pace.succeed()
    assert pace.fail() == 1


def test_chance_takes_up_to_half_of_a_pause() -> None:
    pauses = [Pace(first_pause_s=8, chance=lambda one=chance: one).fail() for chance in (0.0, 0.5, 1.0)]
    assert pauses == [4, 6, 8]


def test_a_database_that_asks_for_time_gets_it() -> None:
    pace = Pace(chance=lambda: 1.0)
    assert pace.fail(retry_after_s=90) == 90
    assert pace.fail(retry_after_s=0.5) == 2


def test_a_batch_that_takes_too_long_is_halved_and_grows_back_slowly() -> None:
    pace = Pace(most=1000)
    for _ in range(5):
        pace.fail(is_slow=True)
    assert pace.batch == 100
    pace.fail()
    assert pace.batch == 100
    pace.succeed()
    assert pace.batch == 150
    for _ in range(20):
        pace.succeed()
    assert pace.batch == 1000
