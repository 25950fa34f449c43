"""SenML against the examples of RFC 8428, and its rules one by one.

The packs of 5.1.1, 5.1.2, 5.1.3 and 5.1.6 and the rules of 4 were read in the working group's copy of the
RFC; the rest of 5.1.3's lines, 5.1.4, 5.1.5, 5.1.7 and the bytes of section 6 are from memory.
"""

from __future__ import annotations

import json
import struct
from typing import Any

import cbor2
import pytest

from collector.errors import PayloadError
from collector.payloads import Decoded, Kind
from collector.payloads.senml import Record, Timing, resolve
from collector.readings import Observation
from tests.payloads.sources import RECEIVED_US, decoder

# RFC 8428, 6, table 4, written down a second time.
_BASE_LABELS = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6}
_CBOR_LABELS = _BASE_LABELS | {"n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8}
_LAMP = "urn:dev:ow:10e2073a0108006:"
_DEVICE = "urn:dev:ow:10e2073a01080063"

_SINGLE = [{"n": _DEVICE, "u": "Cel", "v": 23.1}]
_MULTIPLE_DATAPOINTS = [
    {"bn": _LAMP, "bt": 1.276020076001e09, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1},
    {"n": "current", "t": -5, "v": 1.2},
    {"n": "current", "t": -4, "v": 1.3},
    {"n": "current", "t": -3, "v": 1.4},
    {"n": "current", "t": -2, "v": 1.5},
    {"n": "current", "t": -1, "v": 1.6},
    {"n": "current", "v": 1.7},
]
_MULTIPLE_MEASUREMENTS = [
    {"bn": _DEVICE, "bt": 1.320067464e09, "bu": "%RH", "v": 20},
    {"u": "lon", "v": 24.30621},
    {"u": "lat", "v": 60.07965},
    {"t": 60, "v": 20.3},
    {"u": "lon", "t": 60, "v": 24.30622},
    {"u": "lat", "t": 60, "v": 60.07965},
    {"t": 120, "v": 20.7},
    {"u": "lon", "t": 120, "v": 24.30623},
    {"u": "lat", "t": 120, "v": 60.07966},
    {"u": "%EL", "t": 150, "v": 98},
    {"t": 180, "v": 21.2},
    {"u": "lon", "t": 180, "v": 24.30628},
    {"u": "lat", "t": 180, "v": 60.07967},
]
_MULTIPLE_DATA_TYPES = [
    {"bn": _DEVICE + ":", "n": "temp", "u": "Cel", "v": 23.1},
    {"n": "label", "vs": "Machine Room"},
    {"n": "open", "vb": False},
    {"n": "nfc-reader", "vd": "aGkgCg"},
]
_COLLECTION = [
    {"bn": "2001:db8::2/", "bt": 1.320078429e09, "n": "temperature", "u": "Cel", "v": 25.2},
    {"n": "humidity", "u": "%RH", "v": 30},
    {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
    {"n": "humidity", "u": "%RH", "v": 67},
]
_ACTUATORS = [
    {"bn": _DEVICE + ":"},
    {"n": "temp", "u": "Cel", "v": 23.1},
    {"n": "heat", "u": "/", "v": 1},
    {"n": "fan", "u": "/", "v": 0},
]

# What the RFC says each pack means: name, unit, value, Unix time (None: now).
_MEANINGS: list[tuple[list[dict[str, Any]], list[tuple[str, str | None, object, float | None]]]] = [
    (_SINGLE, [(_DEVICE, "Cel", 23.1, None)]),
    (
        _MULTIPLE_DATAPOINTS,
        [
            (_LAMP + "current", "A", 1.2, 1276020071.001),
            (_LAMP + "current", "A", 1.3, 1276020072.001),
            (_LAMP + "current", "A", 1.4, 1276020073.001),
            (_LAMP + "current", "A", 1.5, 1276020074.001),
            (_LAMP + "current", "A", 1.6, 1276020075.001),
            (_LAMP + "voltage", "V", 120.1, 1276020076.001),
            (_LAMP + "current", "A", 1.7, 1276020076.001),
        ],
    ),
    (
        _MULTIPLE_MEASUREMENTS,  # 5.1.4 resolves these
        [
            (_DEVICE, "%RH", 20, 1320067464),
            (_DEVICE, "lon", 24.30621, 1320067464),
            (_DEVICE, "lat", 60.07965, 1320067464),
            (_DEVICE, "%RH", 20.3, 1320067524),
            (_DEVICE, "lon", 24.30622, 1320067524),
            (_DEVICE, "lat", 60.07965, 1320067524),
            (_DEVICE, "%RH", 20.7, 1320067584),
            (_DEVICE, "lon", 24.30623, 1320067584),
            (_DEVICE, "lat", 60.07966, 1320067584),
            (_DEVICE, "%EL", 98, 1320067614),
            (_DEVICE, "%RH", 21.2, 1320067644),
            (_DEVICE, "lon", 24.30628, 1320067644),
            (_DEVICE, "lat", 60.07967, 1320067644),
        ],
    ),
    (
        _MULTIPLE_DATA_TYPES,
        [
            (_DEVICE + ":temp", "Cel", 23.1, None),
            (_DEVICE + ":label", None, "Machine Room", None),
            (_DEVICE + ":open", None, False, None),
            (_DEVICE + ":nfc-reader", None, b"hi \n", None),
        ],
    ),
    (
        _COLLECTION,
        [
            ("2001:db8::2/temperature", "Cel", 25.2, 1320078429),
            ("2001:db8::2/humidity", "%RH", 30, 1320078429),
            ("2001:db8::1/temperature", "Cel", 12.3, 1320078429),
            ("2001:db8::1/humidity", "%RH", 67, 1320078429),
        ],
    ),
    (
        _ACTUATORS,
        [
            (_DEVICE + ":temp", "Cel", 23.1, None),
            (_DEVICE + ":heat", "/", 1, None),
            (_DEVICE + ":fan", "/", 0, None),
        ],
    ),
]
_NAMES = ["5.1.1", "5.1.2", "5.1.3 and 5.1.4", "5.1.5", "5.1.6", "5.1.7"]

# RFC 8428, 6: the pack of 5.1.2 in CBOR, byte by byte.
_CBOR_OF_5_1_2 = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a313065323037336130313038303036" + "3a"
    "22fb41d303a15b001062236141200500" + "67766f6c74616765016156" + "02fb405e066666666666"
    "a3006763757272656e7406" + "2402fb3ff3333333333333"
    "a3006763757272656e7406" + "2302fb3ff4cccccccccccd"
    "a3006763757272656e7406" + "2202fb3ff6666666666666"
    "a3006763757272656e7406" + "2102f93e00"
    "a3006763757272656e7406" + "2002fb3ff999999999999a"
    "a3006763757272656e7406" + "0002fb3ffb333333333333"
)


def _to_cbor(pack: list[dict[str, Any]]) -> bytes:
    records = [{_CBOR_LABELS.get(label, label): value for label, value in record.items()} for record in pack]
    return cbor2.dumps(records)


def _told(records: list[Record]) -> list[tuple[str, str | None, object, float | None]]:
    return [
        (
            record.name,
            record.unit,
            record.value,
            None if record.timing is Timing.ABSENT else record.time_us / 1_000_000,
        )
        for record in records
    ]


@pytest.mark.parametrize(("pack", "meaning"), _MEANINGS, ids=_NAMES)
def test_example_of_the_rfc_in_json_means_what_the_rfc_says(
    pack: list[dict[str, Any]], meaning: list[tuple[str, str | None, object, float | None]]
) -> None:
    records, flaws = resolve(json.dumps(pack).encode(), RECEIVED_US)
    assert _told(records) == meaning
    assert not flaws


@pytest.mark.parametrize(("pack", "meaning"), _MEANINGS, ids=_NAMES)
def test_example_of_the_rfc_in_cbor_means_the_same(
    pack: list[dict[str, Any]], meaning: list[tuple[str, str | None, object, float | None]]
) -> None:
    as_bytes = [record | ({"vd": b"hi \n"} if "vd" in record else {}) for record in pack]
    records, flaws = resolve(_to_cbor(as_bytes), RECEIVED_US)
    assert _told(records) == meaning
    assert not flaws


def test_bytes_of_the_rfc_mean_the_same_as_its_json() -> None:
    assert len(_CBOR_OF_5_1_2) == 0xC3
    assert struct.unpack(">d", _CBOR_OF_5_1_2[34:42]) == (1276020076.001,)
    assert resolve(_CBOR_OF_5_1_2, RECEIVED_US) == resolve(
        json.dumps(_MULTIPLE_DATAPOINTS).encode(), RECEIVED_US
    )


def _records(*pack: dict[str, Any]) -> list[Record]:
    records, flaws = resolve(json.dumps(pack).encode(), RECEIVED_US)
    assert not flaws
    assert (records, flaws) == resolve(_to_cbor(list(pack)), RECEIVED_US)
    return records


@pytest.mark.parametrize(
    ("seconds", "timing", "time_us"),
    [
        # RFC 8428, 4.5.3: below 2**28 is relative to now.
        (2**28 - 1, Timing.RELATIVE, RECEIVED_US + (2**28 - 1) * 1_000_000),
        (2**28, Timing.ABSOLUTE, 2**28 * 1_000_000),
        (2**28 + 1, Timing.ABSOLUTE, (2**28 + 1) * 1_000_000),
        (-5, Timing.RELATIVE, RECEIVED_US - 5_000_000),
        (0.5, Timing.RELATIVE, RECEIVED_US + 500_000),
        (0, Timing.ABSENT, RECEIVED_US),
    ],
)
def test_time_is_relative_below_two_to_the_28(seconds: float, timing: Timing, time_us: int) -> None:
    (record,) = _records({"n": "a", "v": 1, "t": seconds})
    assert (record.timing, record.time_us) == (timing, time_us)


def test_base_time_stays_when_the_base_name_changes_and_adds_to_times() -> None:
    first, second = _records({"bn": "a", "bt": 2**28, "v": 1}, {"bn": "b", "v": 2, "t": 10})
    assert (first.time_us, second.time_us) == (2**28 * 1_000_000, (2**28 + 10) * 1_000_000)


def test_records_come_in_order_of_time() -> None:
    assert [
        record.value for record in _records({"bn": "a", "v": 1, "t": -1}, {"v": 2, "t": -3}, {"v": 3})
    ] == [2, 1, 3]


@pytest.mark.parametrize(
    ("record", "value"),
    [
        ({"n": "a", "bv": 20, "v": 3.5}, 23.5),
        ({"n": "a", "bv": 20}, 20.0),  # a missing value counts as 0
        ({"n": "a", "v": 3.5}, 3.5),
        ({"n": "a", "bv": 20, "vs": "on"}, "on"),  # base values are for numbers only
        ({"n": "a", "bv": 20, "vb": True}, True),
    ],
)
def test_base_value_is_added_to_numbers(record: dict[str, Any], value: object) -> None:
    assert [one.value for one in _records(record)] == [value]


def test_sum_needs_no_value_and_base_sum_is_added() -> None:
    first, second = _records({"n": "a", "u": "kWh", "bs": 10, "s": 2.5}, {"n": "a", "v": 1, "s": 3, "t": 1})
    assert (first.value, first.sum) == (None, 12.5)
    assert (second.value, second.sum) == (1.0, 13.0)


def test_fields_that_are_not_known_are_ignored_and_update_time_is_read() -> None:
    (record,) = _records({"n": "a", "v": 1, "ut": 300, "colour": "red", "": 1})
    assert (record.value, record.update_s) == (1.0, 300.0)


def test_decimal_fraction_of_cbor_is_a_number() -> None:
    records, _ = resolve(cbor2.dumps([{0: "a", 2: cbor2.CBORTag(4, [-1, 231])}]), RECEIVED_US)
    assert records[0].value == 23.1


def test_pack_that_says_it_is_cbor_is_read() -> None:
    records, _ = resolve(bytes.fromhex("d9d9f7") + _to_cbor(_SINGLE), RECEIVED_US)
    assert records[0].value == 23.1


@pytest.mark.parametrize("version", [1, 5, 10])
def test_version_up_to_ten_is_read(version: int) -> None:
    assert _records({"bver": version, "n": "a", "v": 1})


@pytest.mark.parametrize(
    ("pack", "reason"),
    [
        ([{"bver": 11, "n": "a", "v": 1}], "record 1: it is SenML version 11; up to 10 can be read"),
        ([{"bver": "10", "n": "a", "v": 1}], "record 1: bver 10 is no version"),
        ([{"bver": True, "n": "a", "v": 1}], "record 1: bver true is no version"),
        (
            [{"n": "a", "v": 1}, {"n": "b", "v": 1, "strict_": 1}],
            "record 2 has the field strict_, which must be",
        ),
        ([{"bn": 5, "n": "a", "v": 1}], "record 1: bn is 5: a text is needed"),
        ([{"bt": "now", "n": "a", "v": 1}], "record 1: bt is now: a number is needed"),
        ([{"bu": None, "n": "a", "v": 1}], "record 1: bu is null: a text is needed"),
        ({"n": "a", "v": 1}, "the pack is an object of 2: SenML is an array of records"),
        (5, "the pack is 5: SenML is an array of records"),
    ],
)
def test_pack_in_doubt_is_refused_as_a_whole(pack: Any, reason: str) -> None:
    with pytest.raises(PayloadError) as caught:
        resolve(json.dumps(pack).encode(), RECEIVED_US)
    assert str(caught.value).startswith(reason)


@pytest.mark.parametrize(
    ("record", "kind", "reason"),
    [
        ([], Kind.VALUE, "record 2 is an array of 0"),
        ({"n": 5, "v": 1}, Kind.NAME, "record 2: n is 5"),
        ({"v": 1}, Kind.NAME, "record 2: an empty text is no name"),
        ({"n": "-a", "v": 1}, Kind.NAME, "record 2: -a is no name"),
        ({"n": "a b", "v": 1}, Kind.NAME, "record 2: a b is no name"),
        ({"n": "a", "u": 5, "v": 1}, Kind.NAME, "record 2: u is 5"),
        ({"n": "a", "t": "x", "v": 1}, Kind.TIME, "record 2: a: t is x"),
        ({"n": "a", "t": 1e300, "v": 1}, Kind.TIME, "record 2: a: the time 1e+300 s"),
        ({"n": "a", "v": "25"}, Kind.VALUE, "record 2: a: v is 25: a number is needed"),
        ({"n": "a", "v": True}, Kind.VALUE, "record 2: a: v is true"),
        ({"n": "a", "v": None}, Kind.VALUE, "record 2: a: v is null"),
        ({"n": "a", "vb": 1}, Kind.VALUE, "record 2: a: vb is 1: true or false"),
        ({"n": "a", "vs": 1}, Kind.VALUE, "record 2: a: vs is 1: a text"),
        ({"n": "a", "vd": "?!"}, Kind.VALUE, "record 2: a: vd ?! is no base64"),
        ({"n": "a", "v": 1, "vs": "x"}, Kind.VALUE, "record 2: a: has more than one value: v, vs"),
        ({"n": "a"}, Kind.VALUE, "record 2: a has no value"),
        ({"n": "a", "v": 1, "s": "x"}, Kind.VALUE, "record 2: a: s is x"),
    ],
)
def test_record_that_cannot_be_used_is_named_and_the_others_are_kept(
    record: object, kind: Kind, reason: str
) -> None:
    pack = [{"n": "first", "v": 1}, record, {"n": "last", "v": 2}]
    records, (flaw,) = resolve(json.dumps(pack).encode(), RECEIVED_US)
    assert [one.name for one in records] == ["first", "last"]
    assert flaw.kind is kind
    assert flaw.reason.startswith(reason)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), cbor2.CBORTag(4, [10**9, 1])])
def test_number_of_cbor_that_is_not_finite_is_refused(value: object) -> None:
    records, (flaw,) = resolve(cbor2.dumps([{0: "a", 2: value}]), RECEIVED_US)
    assert not records
    assert "a finite number is needed" in flaw.reason


def test_base_value_that_carries_a_number_out_of_bounds_is_refused() -> None:
    records, (flaw,) = resolve(b'[{"n":"a","bv":1e308,"v":1e308}]', RECEIVED_US)
    assert not records
    assert flaw.reason == "record 1: a: v is inf: a finite number is needed"


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"[",
        b"[{}",
        b"\xff",
        b'[{"n":"a","v":1}]x',
        b"\x80\x00",  # something follows the end
        b"\x81",
        b"\x9b\xff\xff\xff\xff\xff\xff\xff\xff",  # says that it is very long
        b"\x81" * 5000,
        b"[" * 5000,
        bytes.fromhex("81a102c249010000000000000000"),  # a number of any size
        bytes.fromhex("81d81c81d81d00"),  # holds itself
        bytes.fromhex("81d8236128"),  # an expression
        bytes.fromhex("81c06161"),  # a date
        bytes.fromhex("81d82463616263"),  # a mail
        bytes.fromhex("81d9010281a100"),  # a set
    ],
)
def test_what_is_neither_json_nor_cbor_of_senml_is_refused(payload: bytes) -> None:
    with pytest.raises(PayloadError):
        resolve(payload, RECEIVED_US)


def _decode(pack: object, **wanted: Any) -> Decoded:
    return decoder("senml", **wanted).decode("boards/sump", json.dumps(pack).encode(), RECEIVED_US)


def test_wanted_records_become_observations_with_unit_and_time() -> None:
    assert _decode(
        _COLLECTION, values={"2001:db8::1/temperature": "sump", "2001:db8::2/temperature": "display"}
    ) == (
        [
            Observation("2001:db8::2/temperature", 25.2, "Cel", 1_320_078_429_000_000),
            Observation("2001:db8::1/temperature", 12.3, "Cel", 1_320_078_429_000_000),
        ],
        [],
    )


def test_relative_time_is_marked_and_now_is_no_time() -> None:
    pack = [{"n": "t", "v": 1, "t": -10}, {"n": "t", "v": 2}]
    assert _decode(pack, series="temperature").observations == [
        Observation("", 1.0, None, RECEIVED_US - 10_000_000, is_relative=True),
        Observation("", 2.0),
    ]


def test_two_records_that_answer_to_one_name_are_not_mixed() -> None:
    observations, (flaw,) = _decode(_COLLECTION, values={"temperature": "temperature", "1/humidity": "x"})
    assert [observation.value for observation in observations] == [25.2, 67.0]
    assert flaw.kind is Kind.NAME
    assert flaw.reason.startswith(
        'both 2001:db8::2/temperature and 2001:db8::1/temperature answer to "temperature"'
    )


def test_several_names_for_one_series_are_not_mixed() -> None:
    observations, (flaw,) = _decode([{"n": "a", "v": 1}, {"n": "b", "v": 2}], series="temperature")
    assert [observation.value for observation in observations] == [1.0]
    assert flaw.reason.startswith("both a and b answer to the one series of this source")


def test_data_that_is_wanted_is_no_value() -> None:
    observations, (flaw,) = _decode(_MULTIPLE_DATA_TYPES, values={"nfc-reader": "temperature"})
    assert not observations
    assert flaw.kind is Kind.VALUE


def test_pack_with_nothing_wanted_says_what_it_has() -> None:
    observations, (flaw,) = _decode(
        [{"bn": "b/", "n": "temp", "v": 1}], values={"temperature": "temperature"}
    )
    assert not observations
    assert flaw.kind is Kind.NAME
    assert flaw.reason.startswith("none of temperature is in it; it has b/temp")
