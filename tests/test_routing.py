"""Topic filters, templates, units and series: from a message to readings."""

from __future__ import annotations

import itertools
import json
import tracemalloc
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from collector.configuration import SeriesConfiguration, SourceConfiguration
from collector.errors import ConfigError
from collector.payloads import Kind
from collector.readings import Mark, Reading
from collector.routing import MOST_TOPICS, Router, match
from tests.payloads.sources import (
    ALL_SERIES,
    PH,
    RECEIVED_US,
    TEMPERATURE,
    configuration,
    converter,
    source,
)


def _router(*sources: SourceConfiguration, series: tuple[SeriesConfiguration, ...] = ALL_SERIES) -> Router:
    return Router(configuration(sources, series), converter)


def _places(pattern: str, topic: str) -> list[str] | None:
    return match(pattern.split("/"), topic.split("/"))


@pytest.mark.parametrize(
    ("pattern", "topic", "places"),
    [
        # OASIS MQTT 5.0, 4.7.1.2: #, from memory of its text.
        ("sport/tennis/player1/#", "sport/tennis/player1", [""]),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", ["ranking"]),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", ["score/wimbledon"]),
        ("sport/#", "sport", [""]),
        ("#", "sport/tennis", ["sport/tennis"]),
        ("sport/tennis/#", "sports/tennis", None),
        # 4.7.1.3: +
        ("sport/tennis/+", "sport/tennis/player1", ["player1"]),
        ("sport/tennis/+", "sport/tennis/player1/ranking", None),
        ("sport/+", "sport", None),
        ("sport/+", "sport/", [""]),
        ("+", "sport", ["sport"]),
        ("+/tennis/#", "sport/tennis/player1", ["sport", "player1"]),
        ("sport/+/player1", "sport/tennis/player1", ["tennis"]),
        ("+/+", "/finance", ["", "finance"]),
        ("/+", "/finance", ["finance"]),
        ("+", "/finance", None),
        # 4.7.2: topics beginning with $
        ("#", "$SYS/monitor/Clients", None),
        ("+/monitor/Clients", "$SYS/monitor/Clients", None),
        ("$SYS/#", "$SYS/", [""]),
        ("$SYS/monitor/+", "$SYS/monitor/Clients", ["Clients"]),
        # 4.7.3: case matters, and so does a slash
        ("ACCOUNTS", "Accounts", None),
        ("/finance", "finance", None),
        ("finance", "finance", []),
    ],
)
def test_filter_matches_as_the_standard_says(pattern: str, topic: str, places: list[str] | None) -> None:
    assert _places(pattern, topic) == places


_LEVELS = st.lists(st.sampled_from(["a", "b", "", "$a", "ab"]), min_size=1, max_size=4).filter(any)
_FILTERS = st.builds(
    lambda levels, end: "/".join(levels + end),
    st.lists(st.sampled_from(["a", "b", "", "+", "$a", "ab"]), min_size=0, max_size=3),
    st.sampled_from([["#"], ["+"], ["a"]]),
)


@given(_FILTERS, _LEVELS.map("/".join))
def test_filter_matches_as_the_client_library_says(pattern: str, topic: str) -> None:
    assert (_places(pattern, topic) is not None) == topic_matches_sub(pattern, topic)


@pytest.mark.parametrize(
    "topic", ["sport/tennis#", "sport/tennis/#/ranking", "sport+", "", "a/#b", "a/+b/c", "a\0b", "##"]
)
def test_what_is_no_filter_is_a_mistake_of_the_configuration(topic: str) -> None:
    with pytest.raises(ConfigError, match="no topic filter"):
        _router(source("number", topic, series="temperature"))


def test_unknown_format_is_a_mistake_of_the_configuration() -> None:
    with pytest.raises(ConfigError, match='format "xml" of boards/sump is not known; number, json'):
        _router(source("xml", series="temperature"))


@pytest.mark.parametrize(
    ("filters", "subscribed"),
    [
        (["a/b", "a/c"], ["a/b", "a/c"]),
        (["a/b", "a/b"], ["a/b"]),
        (["a/b", "a/+"], ["a/+"]),
        (["a/+", "a/#", "a"], ["a/#"]),
        (["a/+/c", "a/b/+"], ["a/+/c", "a/b/+"]),
        (["a/+/#", "a/#"], ["a/#"]),
        (["a/+/#", "a"], ["a/+/#", "a"]),
        (["#", "a/b", "$SYS/x"], ["#", "$SYS/x"]),
        (["+/#", "#"], ["#"]),
    ],
)
def test_filters_leave_out_what_another_one_covers(filters: list[str], subscribed: list[str]) -> None:
    assert (
        _router(*(source("number", topic, series="temperature") for topic in filters)).filters() == subscribed
    )


@given(st.lists(_FILTERS, min_size=1, max_size=4), _LEVELS.map("/".join))
def test_every_topic_of_a_source_is_subscribed_to(filters: list[str], topic: str) -> None:
    subscribed = _router(*(source("number", one, series="temperature") for one in filters)).filters()
    assert any(topic_matches_sub(one, topic) for one in filters) == any(
        topic_matches_sub(one, topic) for one in subscribed
    )


def test_wildcards_fill_tank_and_series() -> None:
    nursery = SeriesConfiguration("nursery", "temperature", "temperature")
    router = _router(source("number", "boards/+/x/+", "{1}", series="{2}"), series=(*ALL_SERIES, nursery))
    for tank, series in (("reef", PH), ("nursery", nursery)):
        index = (*ALL_SERIES, nursery).index(series)
        routed = router.route(f"boards/{tank}/x/{series.name}", b"8", RECEIVED_US)
        assert routed == ([Reading(index, None, 8.0)], [])


def test_wildcards_fill_values_and_parts_of_names() -> None:
    router = _router(source("json", "+/+/#", "r{1}f", values={"/a": "{2}", "/b": "{3}perature"}))
    assert router.route("ee/ph/tem", b'{"a": 8, "b": 25}', RECEIVED_US) == (
        [Reading(ALL_SERIES.index(PH), None, 8.0), Reading(ALL_SERIES.index(TEMPERATURE), None, 25.0)],
        [],
    )


def test_every_source_that_matches_reads_the_message() -> None:
    router = _router(
        source("number", "boards/+", series="temperature"),
        source("json", "boards/sump", series="ph"),
        source("number", "other/+", series="leak"),
    )
    assert router.route("boards/sump", b"8", RECEIVED_US) == (
        [Reading(ALL_SERIES.index(TEMPERATURE), None, 8.0), Reading(ALL_SERIES.index(PH), None, 8.0)],
        [],
    )


def test_source_that_cannot_read_a_message_does_not_keep_another_from_it() -> None:
    router = _router(
        source("senml", "boards/#", series="ph"), source("number", "boards/sump", series="temperature")
    )
    readings, (problem,) = router.route("boards/sump", b"25", RECEIVED_US)
    assert readings == [Reading(ALL_SERIES.index(TEMPERATURE), None, 25.0)]
    assert problem.kind is Kind.PAYLOAD


def test_topic_of_no_source_brings_nothing() -> None:
    assert _router(source("number", series="temperature")).route("elsewhere", b"25", RECEIVED_US) == ([], [])


@pytest.mark.parametrize(
    ("tank", "series", "lines"),
    [
        ("reef", "alkalinity", '[tanks.reef.series.alkalinity] and quantity = "alkalinity"'),
        (
            "reef",
            "display",
            '[tanks.reef.series.display] and quantity = "temperature" (or ph, practical_salinity, ',
        ),
        ("reef", "salt water", '[tanks.reef.series."salt water"] and quantity'),
        ("nursery", "ph", '[tanks.nursery.series.ph] and quantity = "ph"'),
    ],
)
def test_series_that_is_not_declared_is_a_problem_with_the_lines_that_declare_it(
    tank: str, series: str, lines: str
) -> None:
    router = _router(source("number", "+/+", "{1}", series="{2}"))
    readings, (problem,) = router.route(f"{tank}/{series}", b"1", RECEIVED_US)
    assert not readings
    assert problem.kind is Kind.SERIES
    assert f"no series {series} of tank {tank} is declared; add the lines {lines}" in problem.reason


def test_series_that_is_computed_cannot_arrive() -> None:
    salinity = SeriesConfiguration("reef", "salinity", "practical_salinity", derived_from="conductivity")
    _, (problem,) = _router(source("number", series="salinity"), series=(salinity,)).route(
        "boards/sump", b"1", 0
    )
    assert problem.kind is Kind.SERIES
    assert "is computed from conductivity and cannot also arrive" in problem.reason


@pytest.mark.parametrize(
    ("payload_unit", "source_unit", "series_unit", "celsius"),
    [
        ("K", "degF", "degC", 77 - 273.15),
        (None, "degF", "K", 25.0),
        (None, None, "K", 77 - 273.15),
        (None, None, None, 77.0),
        ("Cel", None, "K", 77.0),
    ],
)
def test_the_nearest_unit_is_meant(
    payload_unit: str | None, source_unit: str | None, series_unit: str | None, celsius: float
) -> None:
    unit = f',"u":"{payload_unit}"' if payload_unit else ""
    series = replace(TEMPERATURE, unit=series_unit)
    router = _router(source("senml", series="temperature", unit=source_unit), series=(series,))
    ((reading,), problems) = router.route("boards/sump", f'[{{"n":"t","v":77{unit}}}]'.encode(), RECEIVED_US)
    assert reading.value == pytest.approx(celsius)
    assert not problems


@pytest.mark.parametrize(
    ("unit", "reason"),
    [
        ("pH", "the payload's unit pH of series temperature: pH is no unit of a temperature"),
        ("", None),
        ("furlong", "the payload's unit furlong of series temperature: furlong is no unit"),
        ("x" * 65, "the payload's unit " + "x" * 59 + "… is longer than any unit is"),
        ("x" * 64, "the payload's unit " + "x" * 59 + "… of series temperature: xxx"),
    ],
)
def test_unit_of_the_payload_that_does_not_fit_is_a_problem(unit: str, reason: str | None) -> None:
    router = _router(source("senml", series="temperature"))
    payload = f'[{{"n":"t","v":25,"u":"{unit}"}},{{"n":"t","v":26}}]'.encode()
    readings, problems = router.route("boards/sump", payload, RECEIVED_US)
    assert [one.value for one in readings] == ([26.0] if reason else [25.0, 26.0])
    assert [problem.kind for problem in problems] == ([Kind.UNIT] if reason else [])
    assert all(problem.reason.startswith(reason or "") for problem in problems)


def test_configured_unit_that_does_not_fit_is_a_problem() -> None:
    router = _router(source("number", series="temperature", unit="pH"))
    _, (problem,) = router.route("boards/sump", b"25", RECEIVED_US)
    assert problem.kind is Kind.UNIT
    assert problem.reason.startswith("the configured unit pH of series temperature")


@pytest.mark.parametrize(
    ("convert", "reason"),
    [
        (lambda value: value * 1e300 * 1e300, "25 has no finite value in the series' unit"),
        (lambda value: float("nan"), "25 has no finite value in the series' unit"),
        (lambda value: value / 0.0, "25 cannot be converted"),
    ],
)
def test_value_that_the_conversion_does_not_take_is_a_problem(convert: Any, reason: str) -> None:
    router = Router(configuration([source("number", series="temperature")]), lambda unit, series: convert)
    readings, (problem,) = router.route("boards/sump", b"25", RECEIVED_US)
    assert not readings
    assert problem.kind is Kind.VALUE
    assert problem.reason.startswith(reason)


def test_contact_is_one_when_closed_and_turned_round_where_said() -> None:
    router = _router(source("number", "boards/+", series="{1}"))
    values = {
        (name, word): router.route(f"boards/{name}", word.encode(), RECEIVED_US).readings[0].value
        for name in ("leak", "float_switch")
        for word in ("closed", "OPEN", "1")
    }
    assert values == {
        ("leak", "closed"): 1.0,
        ("leak", "OPEN"): 0.0,
        ("leak", "1"): 1.0,
        ("float_switch", "closed"): 0.0,
        ("float_switch", "OPEN"): 1.0,
        ("float_switch", "1"): 0.0,
    }


def test_word_that_is_no_state_is_a_problem_that_names_the_words() -> None:
    _, (problem,) = _router(source("number", series="pump")).route("boards/sump", b"maybe", RECEIVED_US)
    assert (problem.topic, problem.kind) == ("boards/sump", Kind.VALUE)
    assert problem.reason.startswith("maybe is none of the two states; known are läuft, steht, closed, on")


@pytest.mark.parametrize(
    ("time", "hangs"), [({}, True), ({"t": 0}, True), ({"t": -5}, True), ({"t": 1_789_999_000}, False)]
)
def test_message_says_whether_its_readings_hang_on_the_arrival(time: dict[str, float], hangs: bool) -> None:
    payload = json.dumps([{"n": "t", "v": 25} | time]).encode()
    routed = _router(source("senml", series="temperature")).route("boards/sump", payload, RECEIVED_US)
    assert routed.hangs_on_arrival is hangs
    assert [one.mark for one in routed.readings] == [Mark.ARRIVAL_TIME if time.get("t") == -5 else Mark.NONE]


def test_route_is_the_same_when_it_is_remembered() -> None:
    router = _router(source("number", "boards/+", series="temperature", unit="degF"))
    assert router.route("boards/a", b"77", 1) == router.route("boards/a", b"77", 1)


def test_random_topics_do_not_fill_the_memory() -> None:
    router = _router(source("number", "#", series="{1}"))
    topics = (f"{'x' * (number % 7 * 1000)}{number}" for number in itertools.count())
    tracemalloc.start()
    try:
        for topic in itertools.islice(topics, MOST_TOPICS):
            router.route(topic, b"1", RECEIVED_US)
        full, _ = tracemalloc.get_traced_memory()
        for topic in itertools.islice(topics, 2 * MOST_TOPICS):
            router.route(topic, b"1", RECEIVED_US)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert full < 16e6
    assert peak < full * 2 + 1e6
