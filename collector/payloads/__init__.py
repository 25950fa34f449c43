"""Payload formats by name: which decoder reads the payloads of a source?

A new format is one module with a decoder, one line here, and the shared test suite runs over it.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from collector.configuration import SourceConfiguration
from collector.payloads.decoder import Decoded, Decoder, Flaw, Kind
from collector.payloads.homie import HomieDecoder
from collector.payloads.json_values import JsonDecoder
from collector.payloads.line_protocol import LineProtocolDecoder, parse_line
from collector.payloads.number import NumberDecoder, number_value
from collector.payloads.senml import SenmlDecoder
from collector.payloads.shown import shown
from collector.payloads.states import STATE_WORDS, state_value
from collector.payloads.times import TIME_FORMATS

FORMATS: Mapping[str, Callable[[SourceConfiguration], Decoder]] = MappingProxyType(
    {
        "number": NumberDecoder,
        "json": JsonDecoder,
        "senml": SenmlDecoder,
        "homie": HomieDecoder,
        "line_protocol": LineProtocolDecoder,
    }
)

__all__ = [
    "FORMATS",
    "STATE_WORDS",
    "TIME_FORMATS",
    "Decoded",
    "Decoder",
    "Flaw",
    "Kind",
    "number_value",
    "parse_line",
    "shown",
    "state_value",
]
