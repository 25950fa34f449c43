"""Of faults that explain one symptom the surest speaks; a missed reading changes nobody's mind."""

from __future__ import annotations

from rules import FAULTS, Finding, Priority
from rules.contest import Post, explaining_posts, rivals_among, rivals_of, settle
from rules.faults.fault import NORMAL

MINUTE = 60_000_000
SETTING = {"on_delay": 10 * MINUTE, "off_delay": 20 * MINUTE}


def post(code: str = "heater_failed_off") -> Post:
    return Post(FAULTS[code], ("temperature",), SETTING)


def sure(confidence: float, symptom: str = "temperature_low", priority: Priority | None = None) -> Finding:
    return Finding(confidence, explains=frozenset({symptom}), priority=priority)


def run(posts: list[Post], minutes: range, *findings: Finding | None) -> list[tuple[str, bool, int]]:
    """Steps of five minutes on which the posts find the same each time; what began or ceased, and when."""
    told = []
    for minute in minutes:
        for one, finding in zip(posts, findings, strict=True):
            if finding is None:
                one.finding = None
            else:
                one.hold(minute * MINUTE, finding)
        told += [(one.fault.code, begins, minute) for one, begins in settle(posts)]
    return told


def test_the_surest_speaks_after_its_delay_and_names_its_rival():
    posts = [post(), post("heater_weak")]
    assert run(posts, range(0, 15, 5), sure(0.8), sure(0.6)) == [("heater_failed_off", True, 10)]
    (rival,) = rivals_of(posts[0], posts)
    assert (rival.cause, rival.confidence) == ("heater_weak", 0.6)


def test_one_that_is_a_little_surer_does_not_take_the_word_and_one_that_is_clearly_surer_does():
    posts = [post(), post("heater_weak")]
    run(posts, range(0, 15, 5), sure(0.6), sure(0.55))
    assert run(posts, range(15, 30, 5), sure(0.6), sure(0.74)) == []
    assert run(posts, range(30, 35, 5), sure(0.6), sure(0.76)) == [
        ("heater_failed_off", False, 30),
        ("heater_weak", True, 30),
    ]


def test_a_rival_does_not_speak_because_a_reading_is_missing():
    posts = [post(), post("heater_weak")]
    run(posts, range(0, 15, 5), sure(0.8), sure(0.7))
    assert run(posts, range(15, 20, 5), None, None) == []
    assert run(posts, range(20, 25, 5), None, sure(0.82)) == []
    assert run(posts, range(25, 30, 5), sure(0.8), sure(0.82)) == []


def test_those_that_explain_different_things_speak_side_by_side():
    posts = [post(), post("heater_stuck_on")]
    told = run(posts, range(0, 15, 5), sure(0.8), sure(0.6, "temperature_high"))
    assert [code for code, _, _ in told] == ["heater_failed_off", "heater_stuck_on"]


def test_what_was_not_known_for_long_begins_anew():
    one = [post()]
    run(one, range(0, 10, 5), sure(0.8))
    assert run(one, range(40, 50, 5), sure(0.8)) == []
    assert run(one, range(50, 55, 5), sure(0.8)) == [("heater_failed_off", True, 50)]


def test_the_way_back_is_not_counted_over_time_that_nobody_saw():
    one = [post()]
    run(one, range(0, 15, 5), sure(0.8))
    assert run(one, range(15, 20, 5), sure(0.0)) == []
    assert run(one, range(200, 220, 5), sure(0.0)) == []
    assert run(one, range(220, 225, 5), sure(0.0)) == [("heater_failed_off", False, 220)]


def test_one_that_is_held_but_no_longer_on_does_not_begin_to_speak():
    posts = [post(), post("heater_weak")]
    run(posts, range(0, 15, 5), sure(0.9), sure(0.6))
    told = run(posts, range(15, 40, 5), sure(0.0), sure(0.3))
    assert told == [("heater_failed_off", False, 35)]


def test_what_explains_a_crossed_limit_is_sorted_by_who_speaks_and_how_sure():
    posts = [post(), post("heater_weak"), post("probe_dry"), post("heater_stuck_on")]
    run(posts, range(0, 15, 5), sure(0.6), sure(0.31), sure(0.7), sure(0.9, "temperature_high"))
    assert posts[2].speaks
    found = explaining_posts(posts, "temperature_low")
    assert [one.fault.code for one in found] == ["probe_dry", "heater_failed_off", "heater_weak"]
    assert [rival.cause for rival in rivals_among(found)] == ["heater_failed_off", "heater_weak"]


def test_a_crossed_limit_ends_the_waiting_of_what_is_no_more_urgent():
    waiting = post("probe_dry")
    run([waiting], range(0, 5, 5), sure(0.7))
    assert not waiting.speaks
    # A dry probe is of high priority: it may name a limit as urgent or more, and no lesser one.
    assert [waiting.may_name(priority) for priority in (Priority.URGENT, Priority.HIGH, Priority.LOW)] == [
        True,
        True,
        False,
    ]
    waiting.speak(at_us=5)
    assert not waiting.may_name(Priority.URGENT)
    # What speaks goes on as if its delay had passed.
    assert run([waiting], range(5, 20, 5), sure(0.7)) == []
    assert waiting.speaks


def test_what_is_only_possible_names_no_limit():
    waiting = post("probe_dry")
    run([waiting], range(0, 5, 5), sure(0.35))
    assert not waiting.may_name(Priority.URGENT)
    run([waiting], range(5, 10, 5), sure(0.4))
    assert waiting.may_name(Priority.URGENT)
    waiting.speak(at_us=7)
    assert waiting.since_us == 7


HALF_DAY = 12 * 60


def spoken_for(minutes: int) -> list[Post]:
    """A leak that has spoken for so long, and what a drained tank looks like afterwards, not yet held."""
    posts = [post("leak"), post("top_off_failed")]
    run(posts, range(0, minutes, 5), sure(0.7, "level_low"), NORMAL)
    return posts


def test_what_has_spoken_for_half_a_day_is_not_renamed_by_what_it_did():
    posts = spoken_for(HALF_DAY - 15)
    assert run(posts, range(HALF_DAY, HALF_DAY + 60, 5), NORMAL, sure(0.9, "level_low")) == []
    assert posts[0].speaks


def test_before_that_a_surer_name_still_takes_the_word():
    posts = spoken_for(HALF_DAY - 60)
    told = run(posts, range(HALF_DAY - 60, HALF_DAY - 20, 5), sure(0.3, "level_low"), sure(0.9, "level_low"))
    assert [(code, begins) for code, begins, _ in told] == [("leak", False), ("top_off_failed", True)]


def test_what_is_more_urgent_takes_the_word_at_any_time():
    high = [post("top_off_failed"), post("leak")]
    run(high, range(0, 2 * HALF_DAY, 5), sure(0.7, "level_low"), NORMAL)
    told = run(
        high, range(2 * HALF_DAY, 2 * HALF_DAY + 30, 5), sure(0.6, "level_low"), sure(0.8, "level_low")
    )
    assert [(code, begins) for code, begins, _ in told] == [("top_off_failed", False), ("leak", True)]


def test_it_ends_when_nothing_that_it_may_have_done_is_left():
    posts = spoken_for(HALF_DAY)
    run(posts, range(HALF_DAY, HALF_DAY + 60, 5), NORMAL, sure(0.9, "level_low"))
    told = run(posts, range(HALF_DAY + 60, HALF_DAY + 120, 5), NORMAL, NORMAL)
    assert [(code, begins) for code, begins, _ in told] == [("leak", False)]


def test_a_fault_of_a_probe_does_nothing_to_the_water():
    posts = [post("probe_drifting"), post("leak")]
    slow = Priority.LOW
    run(posts, range(0, 2 * HALF_DAY, 5), sure(0.7, "salinity_low"), NORMAL)
    told = run(
        posts,
        range(2 * HALF_DAY, 2 * HALF_DAY + 30, 5),
        sure(0.3, "salinity_low"),
        sure(0.8, "salinity_low", priority=slow),
    )
    assert [(code, begins) for code, begins, _ in told] == [("probe_drifting", False), ("leak", True)]


def test_an_early_rival_may_prove_right_at_any_time():
    posts = [post("leak"), post("top_off_failed")]
    run(posts, range(0, 2 * HALF_DAY, 5), sure(0.7, "level_low"), sure(0.6, "level_low"))
    told = run(
        posts, range(2 * HALF_DAY, 2 * HALF_DAY + 30, 5), sure(0.3, "level_low"), sure(0.8, "level_low")
    )
    assert [(code, begins) for code, begins, _ in told] == [("leak", False), ("top_off_failed", True)]
