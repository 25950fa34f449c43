"""Every message is short enough for a person just woken, and loses nothing that matters."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.units.display import display
from collector.wording import BODY_WORDS, Kind, message_for
from collector.wording.texts import ANY_LOOK, CAUSE_TEXTS, LOOKS, Look
from rules import CAUSES, QUANTITIES, TWO_STATE, AlarmKey, Evidence, Incident, Priority, Reason, Rival, Sign
from tests.examples import few
from tests.wording.example import HEATER, HOUR, MINUTE, NOW, at, configuration, incident

KINDS: tuple[Kind, ...] = ("opened", "worsened", "ended")


def title(one: Incident, now_us: int = NOW) -> str:
    return message_for(one, configuration(), kind="opened", now_us=now_us).title


def body(one: Incident, kind: Kind = "opened") -> str:
    return message_for(one, configuration(), kind=kind, now_us=NOW).body


def heater(**changes: object) -> Incident:
    return replace(HEATER, evidence=replace(HEATER.evidence, **changes))


# -- the tables ------------------------------------------------------------------------------------


def test_every_cause_has_words() -> None:
    assert set(CAUSE_TEXTS) == set(CAUSES)


def test_every_quantity_that_can_cross_a_limit_has_a_first_thing_to_do() -> None:
    assert set(LOOKS) == set(QUANTITIES) - TWO_STATE


@pytest.mark.parametrize("text", CAUSE_TEXTS.values(), ids=CAUSE_TEXTS)
def test_words_of_a_cause_leave_room_for_where_and_value(text: object) -> None:
    assert len(text.what) <= 16
    assert len(text.what.split()) <= 3
    assert len(text.after.split()) <= 12


ALL_LOOKS = {look for pair in LOOKS.values() for look in pair} | {ANY_LOOK}
ALL_LOOKS |= {text.look for text in CAUSE_TEXTS.values() if text.look is not None}


@pytest.mark.parametrize("look", sorted(ALL_LOOKS, key=str), ids=lambda look: look.action)
def test_first_thing_to_do_is_a_look_and_has_a_caution(look: Look) -> None:
    assert look.action.startswith("first ")
    assert any(word in look.action for word in ("look", "check", "compare", "repeat"))
    assert look.action.endswith(".")
    assert look.caution.endswith(".")
    assert len(f"{look.action} {look.caution}".split()) <= 23


def test_heater_messages_say_unplug_before_hands_go_in() -> None:
    for cause in ("heater_failed_off", "heater_stuck_on"):
        assert "nplug it before hands go in" in body(replace(HEATER, cause=cause))


# -- the counting test -----------------------------------------------------------------------------

_numbers = st.one_of(
    st.none(),
    st.sampled_from([0.0, -0.0, 24.61, 8.214, -127.0, 1e-9, 1e300, -1e300]),
    st.floats(allow_nan=False, allow_infinity=False),
)
_instants = st.one_of(
    st.none(), st.integers(NOW - 60 * 24 * HOUR, NOW + 60 * 24 * HOUR), st.integers(NOW - HOUR, NOW + HOUR)
)
_titles = st.one_of(
    st.text(min_size=1, max_size=80).filter(lambda text: text.strip()),
    st.sampled_from(["Reef", "Donaudampfschifffahrtsgesellschaftsaquariumtechnikraumbecken " * 2, "a " * 40]),
)
_evidence = st.builds(
    Evidence,
    value=_numbers,
    limit=_numbers,
    expected_low=_numbers,
    expected_high=_numbers,
    rate_per_hour=_numbers,
    since_us=_instants,
    danger=_numbers,
    danger_at_us=_instants,
    danger_earliest_us=_instants,
    danger_latest_us=_instants,
    confidence=st.one_of(st.none(), st.floats(0, 1)),
    reasons=st.sampled_from(
        [
            (),
            (Reason(Sign.SLOPE, "temperature", -0.3, window_us=3_600_000_000),),
            (Reason(Sign.POWER, "power", 0.0, high=5.0), Reason(Sign.ROOM, "temperature", 18.0)),
        ]
    ),
    rivals=st.lists(st.builds(Rival, st.sampled_from(sorted(CAUSES)), st.floats(0.3, 1.0)), max_size=3).map(
        tuple
    ),
)
_known = st.sampled_from(sorted(QUANTITIES))


@st.composite
def incidents(draw: st.DrawFn) -> Incident:
    cause = draw(st.sampled_from(sorted(CAUSES)))
    series = draw(st.one_of(_known, st.text(min_size=1, max_size=30)))
    board = draw(st.text(min_size=1, max_size=60))
    return Incident(
        number=draw(st.integers(1, 10**6)),
        tank=draw(st.sampled_from(["tank0", "tank1", "gone"])),
        cause=cause,
        series=tuple(dict.fromkeys((series, *draw(st.lists(_known, max_size=3))))),
        priority=draw(st.sampled_from(Priority)),
        first_evidence_us=draw(st.integers(NOW - 60 * 24 * HOUR, NOW)),
        alarmed_at_us=NOW,
        ended_at_us=draw(st.one_of(st.none(), st.integers(NOW, NOW + 60 * 24 * HOUR))),
        evidence=draw(_evidence),
        alarms=(AlarmKey("tank0", board if cause == "device_offline" else series, cause),),
    )


@settings(max_examples=few(500), deadline=None)
@given(
    incidents(),
    st.sampled_from(KINDS),
    st.lists(_titles, min_size=1, max_size=3),
    st.one_of(st.none(), _titles),
    st.integers(NOW - 2 * 24 * HOUR, NOW + 2 * 24 * HOUR),
)
def test_no_message_is_longer_than_a_sleepy_person_reads(
    one: Incident, kind: Kind, tank_titles: list[str], series_title: str | None, now_us: int
) -> None:
    setup = configuration(tank_titles=tuple(tank_titles), series_title=series_title)
    message = message_for(one, setup, kind=kind, now_us=now_us)
    assert 0 < len(message.title) <= 60
    assert 0 < len(message.title.split()) <= 12
    assert "\n" not in message.title
    assert 5 < len(message.body.split()) <= BODY_WORDS
    what = message.title.removeprefix("Ended: ").partition(":" if kind != "ended" else ",")[0]
    assert what.lower() in {text.what.lower() for text in CAUSE_TEXTS.values()} | {
        "rising fast",
        "falling fast",
    }
    where = message.title.partition(": ")[2]
    assert where.strip(" ,")
    codes = {"_off", "_on", "falling_steadily", "under_limit", "None", "nan", "inf "}
    if one.series[0] in QUANTITIES and one.cause != "device_offline" and series_title is None:
        assert not [code for code in codes if code in message.body]


@settings(deadline=None)
@given(st.text(min_size=1, max_size=90).filter(lambda text: text.strip()), st.sampled_from(sorted(CAUSES)))
def test_a_long_name_loses_neither_cause_nor_value_nor_danger(name: str, cause: str) -> None:
    message = message_for(
        replace(HEATER, cause=cause),
        configuration(tank_titles=(name,), series_title=name),
        kind="opened",
        now_us=NOW,
    )
    text = CAUSE_TEXTS[cause]
    assert message.title.startswith("Falling fast: " if cause == "changing_fast" else text.what)
    assert ("24.6 °C" in message.title) == text.shows_value
    assert ("danger" in message.title.lower()) == (text.shows_danger or "danger" in cause)
    if text.shows_danger:
        assert message.title.endswith("04:10")


@settings(deadline=None)
@given(_evidence)
def test_value_is_told_whatever_else_is_known(evidence: Evidence) -> None:
    one = incident("heater_failed_off", "temperature", replace(evidence, value=24.62))
    assert display(24.62, "temperature") in title(one)


# -- what the first line says ----------------------------------------------------------------------


def test_first_line_says_what_where_value_and_when_dangerous() -> None:
    assert title(HEATER) == "Heater failed: Reef 24.6 °C, danger about 04:10"


@pytest.mark.parametrize(
    ("danger_at", "end"),
    [
        ("2026-03-07T01:45:01", "danger about 02:45"),  # just ahead
        ("2026-03-07T01:45:00", "danger now"),  # at
        ("2026-03-07T01:44:59", "danger now"),  # just past
        ("2026-03-07T13:44:00", "danger about 14:44"),  # later the same day
        ("2026-03-08T00:10:00", "danger about Sun 01:10"),  # a day on
    ],
)
def test_danger_ahead_has_its_time_and_danger_reached_is_now(danger_at: str, end: str) -> None:
    assert title(heater(danger_at_us=at(danger_at))).endswith(end)


@pytest.mark.parametrize(
    ("value", "end"),
    [(23.01, "danger about 04:10"), (23.0, "danger about 04:10"), (22.99, "danger now")],
)
def test_value_beyond_the_danger_line_is_danger_now(value: float, end: str) -> None:
    assert title(heater(value=value)).endswith(end)


def test_danger_line_of_the_configuration_counts_when_the_evidence_has_none() -> None:
    gone = {"danger": None, "danger_at_us": None, "danger_earliest_us": None, "danger_latest_us": None}
    assert title(heater(value=22.4, **gone)) == "Heater failed: Reef 22.4 °C, danger now"
    assert title(heater(value=24.4, **gone)) == "Heater failed: Reef 24.4 °C"


@pytest.mark.parametrize(
    ("rate", "what"), [(-0.5, "Falling fast"), (0.5, "Rising fast"), (None, "Changing fast")]
)
def test_fast_change_says_which_way(rate: float | None, what: str) -> None:
    one = incident("changing_fast", "ph", Evidence(value=8.21, rate_per_hour=rate))
    assert title(one).startswith(f"{what}: Display pH")


def test_series_is_named_with_its_tank_where_there_are_several() -> None:
    one = incident("over_limit", "practical_salinity", Evidence(value=36.4))
    setup = configuration(tank_titles=("Reef", "Nursery"))
    assert message_for(one, setup, kind="opened", now_us=NOW).title == (
        f"Too high: Reef, Salinity {display(36.4, 'practical_salinity')}"
    )


def test_board_is_named_not_one_of_its_series() -> None:
    one = incident("device_offline", "temperature", Evidence(since_us=NOW - 5 * MINUTE))
    assert title(one) == "Board offline: Sump board since 02:40"


def test_end_is_not_mistaken_for_an_alarm_and_shows_no_old_value() -> None:
    ended = replace(HEATER, ended_at_us=NOW)
    message = message_for(ended, configuration(), kind="ended", now_us=NOW)
    assert message.title == "Ended: heater failed, Reef"
    assert message.body.startswith("Back to normal at 02:45, after 15 min.")


# -- what the body says ----------------------------------------------------------------------------


def test_body_says_trend_since_when_what_to_do_and_caution() -> None:
    assert body(HEATER) == (
        "Falling 0.31 °C/h since 02:30. Danger line 23.0 °C between 03:50 and 05:05. Act now: first look at"
        " the heater's plug, fuse and thermostat. Unplug it before hands go into the water."
    )


@pytest.mark.parametrize(
    ("priority", "how_soon"),
    [(Priority.URGENT, "Act now:"), (Priority.HIGH, "Act today:"), (Priority.LOW, "When you have time:")],
)
def test_body_says_how_soon(priority: Priority, how_soon: str) -> None:
    assert f" {how_soon} first " in body(replace(HEATER, priority=priority))


def test_worsened_incident_says_so_first() -> None:
    assert body(HEATER, "worsened").startswith("Worse now. Falling ")


@pytest.mark.parametrize(
    "name", [field.name for field in fields(Evidence) if field.name not in ("reasons", "rivals")]
)
def test_no_field_of_the_evidence_is_needed(name: str) -> None:
    message = message_for(heater(**{name: None}), configuration(), kind="opened", now_us=NOW)
    assert message.title.startswith("Heater failed: Reef")
    assert "first look at the heater's plug" in message.body
    assert "None" not in message.title + message.body


def test_time_without_since_is_that_of_the_first_evidence() -> None:
    assert "since 02:30." in body(heater(since_us=None))


def test_change_too_small_to_see_is_steady() -> None:
    assert body(heater(rate_per_hour=-0.004)).startswith("Steady since 02:30.")


def test_low_and_high_ph_have_each_their_own_caution() -> None:
    low = body(incident("under_limit", "ph", Evidence(value=7.6)))
    high = body(incident("over_limit", "ph", Evidence(value=8.7)))
    assert "CO2" in low
    assert "suffocates" in low
    assert "Limewater is caustic" in high


def test_a_contact_has_a_state_and_no_limit() -> None:
    one = incident("contact_alarm", "contact", Evidence(value=1.0, limit=0.5), Priority.URGENT)
    assert "Limit" not in body(one)


@pytest.mark.parametrize("quantity", ["practical_salinity", "conductivity", "specific_conductance"])
@pytest.mark.parametrize("look", [0, 1], ids=["low", "high"])
def test_who_is_sent_to_the_top_off_is_told_that_it_may_hold_limewater(quantity: str, look: int) -> None:
    """Many top-offs carry saturated limewater, pH 12.4, which burns (common practice, no source)."""
    assert "top-off" in LOOKS[quantity][look].action
    assert "caustic" in LOOKS[quantity][look].caution


@pytest.mark.parametrize("cause", ["probe_silent", "device_offline", "probe_stuck"])
@pytest.mark.parametrize("danger", ["over_danger_line", "under_danger_line"])
def test_a_probe_lost_beyond_the_danger_line_does_not_hide_the_line(cause: str, danger: str) -> None:
    one = incident(cause, "temperature", Evidence(value=30.4), Priority.URGENT)
    assert "danger line" not in body(one)
    one = replace(one, alarms=(AlarmKey("tank0", "temperature", danger), *one.alarms))
    assert "The danger line was crossed." in body(one)
    assert "The danger line was crossed." in body(one, "worsened")
