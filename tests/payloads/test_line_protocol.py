"""InfluxDB line protocol, version 2: its escaping, types and timestamps, after the vendor's documentation.

The lines are our own; what each of them shows is a rule of that text.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import ConfigError, PayloadError
from collector.payloads import Decoded, Kind
from collector.payloads.line_protocol import Point, parse_line
from collector.readings import Observation
from tests.payloads.sources import RECEIVED_US, decoder


def test_point_has_measurement_tags_fields_and_time() -> None:
    line = b'water,tank=reef,probe=sump temperature=25.31,stirring=t,note="ok" 1790000000123456789'
    assert parse_line(line) == Point(
        "water",
        {"tank": "reef", "probe": "sump"},
        {"temperature": 25.31, "stirring": True, "note": "ok"},
        1_790_000_000_123_456,
        (),
    )


@pytest.mark.parametrize(
    ("line", "measurement", "tags", "fields"),
    [
        # Measurement: comma and space are escaped, the equals sign is not.
        (r"water\ level f=1", "water level", {}, {"f": 1.0}),
        (r"water\,level f=1", "water,level", {}, {"f": 1.0}),
        ("water=level f=1", "water=level", {}, {"f": 1.0}),
        (r"water\=level f=1", r"water\=level", {}, {"f": 1.0}),
        # Tag key, tag value and field key: comma, equals and space.
        (r"m,tag\ key=tag\ value field\ key=1", "m", {"tag key": "tag value"}, {"field key": 1.0}),
        (r"m,tag\,key=tag\,value field\,key=1", "m", {"tag,key": "tag,value"}, {"field,key": 1.0}),
        (r"m,tag\=key=tag\=value field\=key=1", "m", {"tag=key": "tag=value"}, {"field=key": 1.0}),
        # Double quotes around names belong to the names.
        ('"m",t="v" f=1', '"m"', {"t": '"v"'}, {"f": 1.0}),
        # String: double quote and backslash; nothing else needs it.
        (r'm f="say \"on\""', "m", {}, {"f": 'say "on"'}),
        (r'm f="C:\\boards"', "m", {}, {"f": r"C:\boards"}),
        (r'm f="C:\boards"', "m", {}, {"f": r"C:\boards"}),
        (r'm f="a\\\b"', "m", {}, {"f": r"a\\b"}),
        (r'm f="a, b = c",g=2', "m", {}, {"f": "a, b = c", "g": 2.0}),
        ('m f=""', "m", {}, {"f": ""}),
        # A backslash before anything else is a backslash.
        (r"m\n,t\g=v\l f\k=1", r"m\n", {r"t\g": r"v\l"}, {r"f\k": 1.0}),
        (r"a\\ b f=1", r"a\ b", {}, {"f": 1.0}),
        ("wärme,ort=küche grad=25", "wärme", {"ort": "küche"}, {"grad": 25.0}),
    ],
)
def test_backslash_takes_the_meaning_of_a_special_character(
    line: str, measurement: str, tags: dict[str, str], fields: dict[str, object]
) -> None:
    assert parse_line(line.encode()) == Point(measurement, tags, fields, None, ())  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1", 1.0),
        ("1.0", 1.0),
        ("-1.2e+78", -1.2e78),
        ("1E3", 1000.0),
        (".5", 0.5),
        ("1i", 1.0),
        ("-9223372036854775808i", -(2.0**63)),
        ("9223372036854775807i", float(2**63 - 1)),
        ("1u", 1.0),
        ("18446744073709551615u", float(2**64 - 1)),
        *[(text, True) for text in ("t", "T", "true", "True", "TRUE")],
        *[(text, False) for text in ("f", "F", "false", "False", "FALSE")],
        ('"true"', "true"),
    ],
)
def test_value_has_the_type_that_it_is_written_as(text: str, value: object) -> None:
    fields = parse_line(f"m f={text}".encode()).fields
    assert fields == {"f": value}
    assert type(fields["f"]) is type(value)


@pytest.mark.parametrize(
    "text",
    [
        *[
            "nan",
            "NaN",
            "inf",
            "-Inf",
            "1e999",
            "tRUE",
            "yes",
            "1x",
            "1_0",
            "0x10",
            "1.5i",
            "-1u",
            "--1",
            "1..",
        ],
        *[
            "9223372036854775808i",
            "-9223372036854775809i",
            "18446744073709551616u",
            "9" * 30 + "i",
            "٣",
            "on",
        ],
    ],
)
def test_field_that_has_no_value_is_named_and_the_others_are_kept(text: str) -> None:
    point = parse_line(f"m a=1,bad={text},c=3 1000".encode())
    assert point.fields == {"a": 1.0, "c": 3.0}
    assert point.observed_us == 1
    assert [(flaw.kind, flaw.reason) for flaw in point.flaws] == [
        (Kind.VALUE, f"the field bad is {text}, which is no value")
    ]


@pytest.mark.parametrize(
    ("timestamp", "observed_us"),
    [
        ("1790000000123456789", 1_790_000_000_123_456),
        ("0", 0),
        ("999", 0),
        ("-1", -1),
        ("9223372036854775807", 2**63 // 1000),
    ],
)
def test_timestamp_is_in_nanoseconds(timestamp: str, observed_us: int) -> None:
    assert parse_line(f"m f=1 {timestamp}".encode()).observed_us == observed_us


@pytest.mark.parametrize(
    "timestamp", ["1.5", "now", "9223372036854775808", "1 2", "2026-09-21T00:00:00Z", "1i"]
)
def test_fields_are_kept_when_the_timestamp_is_none(timestamp: str) -> None:
    point = parse_line(f"m f=1 {timestamp}".encode())
    assert point.fields == {"f": 1.0}
    assert point.observed_us is None
    assert [flaw.kind for flaw in point.flaws] == [Kind.TIME]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("m", "after m comes nothing: a space and the fields are needed"),
        ("m,t=v", "after m,t=v comes nothing"),
        ("m,t= f=1", "the tag t has no value: leave the tag out"),
        ("m,t f=1", "the tag t has no value"),
        ("m, f=1", "the name of a tag is missing"),
        (",t=v f=1", "begins with no measurement"),
        ("m f", "after the field f comes nothing"),
        ("m f=", "the field f has no value"),
        ("m =1", "the name of a field is missing"),
        ("m f=1,", "the name of a field is missing"),
        ("m f=1, g=2", "the name of a field is missing"),
        ('m f="abc', "the field f has no value, or a string that does not end"),
        ('m f="abc"x', "x follows a string"),
        ("_m f=1", "the measurement _m begins with _"),
        ("m,_t=v f=1", "the tag _t begins with _"),
        ("m _f=1", "the field _f begins with _"),
    ],
)
def test_line_that_is_no_point_is_refused(line: str, reason: str) -> None:
    with pytest.raises(PayloadError) as caught:
        parse_line(line.encode())
    assert reason in str(caught.value)


_NAMES = st.text(
    st.characters(exclude_characters="\n\r\\", exclude_categories=["Cs"]), min_size=1, max_size=8
).filter(lambda name: name[0] not in "_#" and name.strip() == name)


def _escaped(text: str, special: str) -> str:
    return "".join(f"\\{sign}" if sign in special else sign for sign in text)


@given(
    _NAMES,
    st.dictionaries(_NAMES, _NAMES, max_size=3),
    st.dictionaries(
        _NAMES,
        st.floats(allow_nan=False, allow_infinity=False)
        | st.booleans()
        | st.text(st.characters(exclude_characters="\n", exclude_categories=["Cs"]), max_size=8),
        min_size=1,
        max_size=3,
    ),
    st.none() | st.integers(-(2**63), 2**63 - 1),
)
def test_every_point_survives_its_line(
    measurement: str, tags: dict[str, str], fields: dict[str, Any], timestamp: int | None
) -> None:
    def written(value: object) -> str:
        return f'"{_escaped(value, chr(34) + chr(92))}"' if isinstance(value, str) else repr(value)

    line = "".join(
        [
            _escaped(measurement, ", "),
            *(f",{_escaped(key, ',= ')}={_escaped(value, ',= ')}" for key, value in tags.items()),
            " ",
            ",".join(f"{_escaped(key, ',= ')}={written(value)}" for key, value in fields.items()),
            "" if timestamp is None else f" {timestamp}",
        ]
    )
    observed_us = None if timestamp is None else timestamp // 1000
    assert parse_line(line.encode()) == Point(measurement, tags, fields, observed_us, ())


def _decode(payload: bytes, **wanted: Any) -> Decoded:
    return decoder("line_protocol", **wanted).decode("boards/sump", payload, RECEIVED_US)


def test_lines_of_one_payload_are_points_of_their_own() -> None:
    payload = b"# by the sump board\nwater t=25.1 1000\r\n\nwater t=25.2 2000\n"
    assert _decode(payload, values={"t": "temperature"}) == Decoded(
        [Observation("t", 25.1, None, 1), Observation("t", 25.2, None, 2)], []
    )


def test_bad_line_loses_no_good_line() -> None:
    payload = b"water t=25.1 1000\nwater t= 2000\n\xff\xfe\nwater t=25.4 4000"
    observations, flaws = _decode(payload, values={"t": "temperature"})
    assert [observation.value for observation in observations] == [25.1, 25.4]
    assert [flaw.kind for flaw in flaws] == [Kind.PAYLOAD, Kind.PAYLOAD]
    assert flaws[0].reason.startswith("line 2: the field t has no value")
    assert flaws[1].reason.startswith("line 3: \\xff\\xfe is no UTF-8 text")


@pytest.mark.parametrize("payload", [b"", b"\n\n", b"# nothing", b"   "])
def test_payload_without_a_point_is_refused(payload: bytes) -> None:
    with pytest.raises(PayloadError, match="holds no point"):
        _decode(payload, values={"t": "temperature"})


def test_field_is_wanted_by_key_or_by_measurement_tags_and_key() -> None:
    payload = b"ph value=8.1\ntemperature,probe=sump value=25.1\ntemperature,probe=display,side=l value=25.3"
    wanted = {
        "ph value": "ph",
        "temperature,probe=sump value": "sump",
        "temperature,probe=display value": "temperature",
    }
    assert _decode(payload, values=wanted) == Decoded(
        [
            Observation("ph value", 8.1),
            Observation("temperature,probe=sump value", 25.1),
            Observation("temperature,probe=display value", 25.3),
        ],
        [],
    )


def test_field_that_is_wanted_most_closely_is_meant() -> None:
    wanted = {"value": "ph", "t value": "temperature", "t,probe=sump value": "sump"}
    observations, _ = _decode(b"t,probe=sump value=1\nt value=2\nx value=3", values=wanted)
    assert [observation.name for observation in observations] == ["t,probe=sump value", "t value", "value"]


def test_two_fields_that_answer_to_one_name_are_not_mixed() -> None:
    observations, (flaw,) = _decode(b"ph value=8.1\nt,probe=sump value=25.1", values={"value": "temperature"})
    assert [observation.value for observation in observations] == [8.1]
    assert flaw.kind is Kind.NAME
    assert flaw.reason.startswith('both ph value and t,probe=sump value answer to "value"')


def test_payload_with_nothing_wanted_says_what_it_has() -> None:
    observations, (flaw,) = _decode(b"water,probe=sump temp=25.1", values={"t": "temperature"})
    assert not observations
    assert flaw.reason.startswith("none of t is in it; it has water,probe=sump temp")


@pytest.mark.parametrize("name", ["", "m,t value", "m,t= value", "m a b", "_t", "m value=1", "a=b"])
def test_name_that_is_no_field_is_a_mistake_of_the_configuration(name: str) -> None:
    with pytest.raises(ConfigError, match="names no field of line protocol"):
        decoder("line_protocol", values={name: "temperature"})
