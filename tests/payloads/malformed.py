"""Strategies for payloads and topics that are malformed for certain, judged by other means than ours.

Each strategy makes payloads of one format in which a source finds nothing: what the standard library, a
regular expression, or the way in which they are made says so.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from typing import Any

import cbor2
from hypothesis import strategies as st

_NUMBER = re.compile(rb"[ \t\r\n]*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?[ \t\r\n]*")

_RUBBISH = st.binary(max_size=24) | st.text(max_size=12).map(
    lambda text: text.encode("utf-8", "surrogatepass")
)
_NEAR_NUMBERS = st.sampled_from(
    [
        b"nan",
        b"NaN",
        b"inf",
        b"-Infinity",
        b"1e999",
        b"-1e999",
        b"1_0",
        b"25,3",
        b"25.3 C",
        b"0x1F",
        b"25.3\0",
    ]
)
_JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-99, 99) | st.floats(-99, 99) | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
_NO_NUMBER = (
    st.none()
    | st.booleans()
    | st.lists(st.integers(), max_size=2)
    | st.dictionaries(st.text(max_size=3), st.integers(), max_size=2)
    | st.text(max_size=6).filter(lambda text: not _NUMBER.fullmatch(text.encode("utf-8", "replace")))
)


def _is_a_number(payload: bytes) -> bool:
    return _NUMBER.fullmatch(payload) is not None


def _cut(payload: bytes) -> st.SearchStrategy[bytes]:
    return st.integers(0, len(payload) - 1).map(lambda length: payload[:length])


def _damaged(payload: bytes, is_good: Callable[[bytes], bool]) -> st.SearchStrategy[bytes]:
    """A payload in which a few bytes were changed, and which is good no more."""
    return st.builds(
        lambda at, length, patch: payload[:at] + patch + payload[at + length :],
        st.integers(0, len(payload)),
        st.integers(0, 4),
        st.binary(max_size=4),
    ).filter(lambda one: not is_good(one))


def _numbers() -> st.SearchStrategy[bytes]:
    return st.one_of(_RUBBISH, _NEAR_NUMBERS, _damaged(b"25.31", _is_a_number)).filter(
        lambda payload: not _is_a_number(payload)
    )


def _holds_a_ph(payload: bytes) -> bool:
    """Whether the standard library finds a number, or a text with one, where the source looks for it."""
    try:
        value = json.loads(payload)["probes"]["ph"]
        return not isinstance(value, bool) and math.isfinite(float(value))
    except (ValueError, TypeError, LookupError, RecursionError, OverflowError):
        return False


def _json_values() -> st.SearchStrategy[bytes]:
    good = b'{"probes": {"ph": 8.25}, "at": 1}'
    return st.one_of(
        _RUBBISH,
        _cut(good),
        _damaged(good, _holds_a_ph),
        _JSON.map(lambda document: json.dumps(document).encode()),
        _NO_NUMBER.map(lambda value: json.dumps({"probes": {"ph": value}}).encode()),
        st.integers(1000, 3000).map(lambda depth: b"[" * depth),
    ).filter(lambda payload: not _holds_a_ph(payload))


# Fields of a record each of which makes the record, or the whole pack, useless.
_BAD_FIELDS: st.SearchStrategy[dict[str, Any]] = st.one_of(
    _NO_NUMBER.map(lambda value: {"v": value}),
    st.builds(dict, v=st.floats(-99, 99), vs=st.text(max_size=3)),
    st.builds(dict, vb=st.integers() | st.none()),
    st.builds(dict, vs=st.integers() | st.booleans()),
    st.builds(dict, v=st.just(1.0), t=_NO_NUMBER),
    st.builds(dict, v=st.just(1.0), t=st.sampled_from([1e300, -1e300, 1e15])),
    st.builds(dict, v=st.just(1.0), u=st.integers() | st.none()),
    st.builds(dict, v=st.just(1.0), u=st.text("furlongs", min_size=1, max_size=4)),
    st.builds(dict, v=st.just(1.0), n=st.sampled_from(["", "-a", "a b", "ü", 5, None])),
    st.builds(dict, v=st.just(1.0), bver=st.integers(11) | st.integers(max_value=0) | st.text(max_size=2)),
    st.builds(dict, v=st.just(1.0), must_be_understood_=st.integers(0, 9)),
    st.builds(dict, v=st.just(1.0), bn=st.integers() | st.none()),
    st.just({}),
)
_LABELS = {"bver": -1, "bn": -2, "bt": -3, "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "t": 6}


def _senml() -> st.SearchStrategy[bytes]:
    good = [{"bn": "sump/", "n": "temperature", "u": "Cel", "v": 25.25}]
    good_cbor = cbor2.dumps([{_LABELS[label]: value for label, value in good[0].items()}])
    bad = _BAD_FIELDS.map(lambda fields: {"n": "temperature", "t": 1_789_999_000} | fields)
    return st.one_of(
        # A pack begins with [ or, in CBOR, with an array or a tag: whatever else is none.
        _RUBBISH.filter(
            lambda payload: payload[:1] != b"[" and not payload[:1].isspace() and payload[:1] < b"\x80"
        ),
        _cut(json.dumps(good).encode()),
        _cut(good_cbor),
        bad.map(lambda record: json.dumps([record]).encode()),
        bad.map(_with_numbers_for_labels).map(cbor2.dumps),
        st.integers(1000, 3000).map(lambda depth: b"\x81" * depth),
        st.sampled_from([b"\x9b" + b"\xff" * 8, b"\x5b" + b"\xff" * 8, b"\xbf", b"\x9f\xff\x00"]),
    )


def _with_numbers_for_labels(record: dict[str, Any]) -> list[dict[Any, Any]]:
    return [{_LABELS.get(label, label): value for label, value in record.items()}]


def _homie() -> st.SearchStrategy[bytes]:
    # An empty payload is the removal of a property, which is nothing bad.
    return _numbers().filter(bool)


def _line_protocol() -> st.SearchStrategy[bytes]:
    no_field = st.text(st.characters(exclude_characters="=\n\r# \t", exclude_categories=["Cs"]), min_size=1)
    return st.one_of(
        no_field.map(str.encode),
        _RUBBISH.map(lambda payload: b"water t=" + payload.translate(None, b'\n"0123456789tTfF')),
        _RUBBISH.map(lambda payload: b"water \xff" + payload.translate(None, b"\n")),
        st.sampled_from(
            [b"nan", b"inf", b"1e999", b"1x", b'"warm"', b'"', b"", b"9999999999999999999i", b"t", b"F"]
        ).map(lambda value: b"water t=" + value),
        _cut(b"water,probe=sump t="),
    )


MALFORMED: dict[str, st.SearchStrategy[bytes]] = {
    "number": _numbers(),
    "json": _json_values(),
    "senml": _senml(),
    "homie": _homie(),
    "line_protocol": _line_protocol(),
}

# A level of a topic that names no series: wildcards and slashes may not be in it, all else may.
STRANGE_LEVELS = st.text(
    st.characters(exclude_characters="/+#\0", exclude_categories=["Cs"]), max_size=12
).filter(lambda level: level not in ("temperature", "ph"))
