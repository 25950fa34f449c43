"""Whatever stands in the file, it is a configuration or a ConfigError."""

# ruff: noqa: E501 - one row a case
from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.configuration import Configuration
from collector.errors import ConfigError
from collector.settings import load_configuration
from tests.examples import few
from tests.settings.configurations import all_keys_in_use, changed, put_named_files
from tests.settings.toml_text import toml_text

WHOLE = tomllib.loads(all_keys_in_use())


def _leaves(data: Any, prefix: str = "") -> Iterator[str]:
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        # Keys with a dot of their own are none of ours.
        if "." not in str(key):
            yield f"{prefix}{key}"
            yield from _leaves(value, f"{prefix}{key}.")


_TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=20)
_WORDS = st.sampled_from(
    ["", " ", "1", "-1 degC", "1e400 degC", "nan degC", "inf h", "0 s", "1 h", "{1}", "{9}", "+", "/", "#", "temperature",
     "ph", "reef", "closed", "20/20 degC", "degF", "ppt", "٣ degC", "1 degC/h", "1/0 degC", "json", "UTC", "Europe"]
)  # fmt: skip
_SIMPLE = st.one_of(
    _WORDS,
    _TEXT,
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.just(...),
)
_ANYTHING = st.one_of(
    _SIMPLE,
    st.lists(_WORDS, max_size=3),
    st.lists(st.integers(-5, 5), max_size=3),
    st.dictionaries(_WORDS, _WORDS, max_size=2),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("any")
    put_named_files(folder)
    return folder


def _load(folder: Path, text: str) -> None:
    path = folder / "brinebell.toml"
    path.write_text(text, encoding="utf-8")
    _is_told_or_right(path, {})


def _is_told_or_right(path: Path | None, environ: dict[str, str]) -> None:
    """Anything else than a ConfigError ends the test."""
    try:
        assert isinstance(load_configuration(path, environ), Configuration)
    except ConfigError as error:
        told = str(error)
    else:
        return
    assert told


@settings(max_examples=few(300), deadline=None)
@given(
    changes=st.lists(st.tuples(st.sampled_from(sorted(_leaves(WHOLE))), _ANYTHING), min_size=1, max_size=3)
)
def test_changed_values_give_a_configuration_or_a_config_error(
    folder: Path, changes: list[tuple[str, Any]]
) -> None:
    data = WHOLE
    for path, value in changes:
        try:
            data = changed(data, path, value)
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took it away
    _load(folder, toml_text(data))


@settings(max_examples=few(150), deadline=None)
@given(st.data())
def test_text_with_a_piece_cut_out_gives_a_configuration_or_a_config_error(
    folder: Path, data: st.DataObject
) -> None:
    text = all_keys_in_use()
    begin = data.draw(st.integers(0, len(text) - 1))
    end = data.draw(st.integers(begin, min(len(text), begin + 200)))
    _load(folder, text[:begin] + data.draw(_TEXT) + text[end:])


_NAMES = st.sampled_from(
    ["MQTT", "MQTT__PORT", "MQTT__TLS__X", "SOURCES", "SOURCES__0", "SOURCES__0__TOPIC", "SOURCES__X", "TANKS",
     "TANKS__REEF", "TANKS__REEF__SERIES", "TANKS__REEF__SERIES__PH__UNIT", "PEOPLE__", "__", "PEOPLE__A__URLS"]
)  # fmt: skip
_JSON = st.sampled_from(
    ["[]", "{}", "null", "[null]", '{"0": null}', '{"": {}}', "[[]]", "5", '"x"', "[{}]", "{"]
)


@settings(max_examples=few(150), deadline=None)
@given(environ=st.dictionaries(_NAMES.map(lambda name: f"BRINEBELL_{name}"), _JSON | _WORDS, max_size=3))
def test_any_environment_gives_a_configuration_or_a_config_error(environ: dict[str, str]) -> None:
    _is_told_or_right(None, environ)
