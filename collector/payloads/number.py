"""Payloads that are one number or one word, as the simplest boards send them: 25.31, ON, true, open."""

from __future__ import annotations

from collector.configuration import SourceConfiguration
from collector.errors import ConfigError, PayloadError
from collector.payloads.decoder import Decoded
from collector.payloads.shown import shown
from collector.readings import Observation

# Longer than any word for a state; what is longer is text for people, or not text at all.
_LONGEST_WORD = 40
# What may stand around a number or a word.
_SPACES = " \t\r\n"


def plain_value(payload: bytes) -> float | str:
    """Return a payload of one value as a finite number, or as a word of up to 40 printable characters.

    Raises PayloadError for all else, NaN and infinity among it.
    """
    try:
        value = float(payload)
    except ValueError:
        return _word(payload)
    # The difference of a value and itself is zero, unless it is infinite or not a number.
    if value - value != 0.0:
        raise PayloadError(f"{shown(payload)} is no finite number")
    # What Python takes for a number is wider than what a board may mean by one: 1_0, or 25 behind a stray
    # control character, which `float` takes for a space.
    if b"_" in payload or ((payload[0] < 33 or payload[-1] < 33) and _has_stray(payload)):
        raise PayloadError(f"{shown(payload)} is no bare number")
    return value


def _has_stray(payload: bytes) -> bool:
    stripped = payload.strip(_SPACES.encode())
    return stripped[0] < 33 or stripped[-1] < 33


def number_value(value: float | bool | str) -> float:
    """Return the number that a decoded value is; text such as "25.3" counts.

    Raises PayloadError if it is a boolean, a word, NaN or infinite.
    """
    if type(value) is str:
        try:
            is_plain = value.isascii() and value.strip(_SPACES).isprintable() and "_" not in value
            number = float(value) if is_plain else float("nan")
        except ValueError:
            number = float("nan")
        if number - number == 0.0:
            return number
        hint = ": write the decimal point as a point" if _is_comma_number(value) else ""
        raise PayloadError(f"{shown(value)} is no finite number{hint}")
    if type(value) is bool:
        raise PayloadError(
            f"{shown(value)} is no number: a series of quantity contact or state takes such values"
        )
    number = float(value)
    if number - number != 0.0:
        raise PayloadError(f"{shown(value)} is no finite number")
    return number


def _is_comma_number(text: str) -> bool:
    return text.count(",") == 1 and text.replace(",", "").strip().lstrip("+-").isdecimal()


def _word(payload: bytes) -> str:
    if not payload:
        raise PayloadError("the payload is empty: a number or a word is needed")
    if len(payload) <= 4 * _LONGEST_WORD:
        try:
            word = payload.decode("utf-8").strip(_SPACES)
        except UnicodeDecodeError:
            word = ""
        if word and len(word) <= _LONGEST_WORD and word.isprintable():
            return word
    raise PayloadError(
        f"{shown(payload)} is neither a bare number nor a word for a state: correct format or the board"
    )


class NumberDecoder:
    """Reads payloads of one bare number or word; arrival is their time."""

    def __init__(self, source: SourceConfiguration) -> None:
        if source.series is None:
            raise ConfigError(f"a bare number is one value: give series for {source.topic}, not values")

    def decode(self, topic: str, payload: bytes, received_us: int) -> Decoded:  # noqa: ARG002
        """Return the one value; see `Decoder`."""
        return Decoded((Observation("", plain_value(payload)),))
