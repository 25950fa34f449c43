"""From one TOML file and the environment to a checked `Configuration`: the only reader of either.

The environment wins over the file. Structure is checked by the models, meaning by `resolve`; mistakes
of both are told together: what is not well formed is taken out, noted, and the rest is still resolved.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_settings import EnvSettingsSource, SettingsError

from collector.configuration import Configuration
from collector.errors import ConfigError
from collector.settings.keys import documented_keys, keys_at, like_at
from collector.settings.mistakes import Mistakes
from collector.settings.mistakes import Path as KeyPath
from collector.settings.model import ENVIRONMENT_DELIMITER, ENVIRONMENT_PREFIX, Settings
from collector.settings.resolve import resolve
from collector.settings.secrets import SecretFiles
from collector.settings.suggestions import instead_of, nearest

_LISTS_OF_TABLES = ("sources", "boards", "works")
# What to say of pydantic's kinds of error.
_NEEDED = {
    "string_type": "text in quotes",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "enum": "urgent, high or low",
}
EXAMPLE_NAME = "brinebell.example.toml"


@dataclass(frozen=True, slots=True)
class Loaded:
    """A configuration, what it was read from as people say it, and what does no harm but should be mended."""

    configuration: Configuration
    origin: str
    warnings: tuple[str, ...]


def load_configuration(path: Path | None, environ: Mapping[str, str] = os.environ) -> Configuration:
    """Read and check a configuration; without a path, the example that ships with Brinebell.

    Raises
    ------
    ConfigError
        Telling every mistake at once, one a line: key, value, and what would be right.
    """
    return read_configuration(path, environ).configuration


def read_configuration(path: Path | None, environ: Mapping[str, str] = os.environ) -> Loaded:
    """As `load_configuration`, with warnings.

    Relative names of folders and files are taken from the folder of the file, those of the example from
    the current one.
    """
    if path is None:
        text, origin, folder = example_text(), "the shipped example configuration", Path.cwd()
    else:
        text, origin, folder = _file_text(path), str(path), path.absolute().parent
    return read_text(text, origin, folder, environ)


def read_text(text: str, origin: str, folder: Path, environ: Mapping[str, str] = os.environ) -> Loaded:
    """As `read_configuration`, of a text that people know as `origin` and that lies in `folder`."""
    try:
        written = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(
            f"{origin} is not TOML: {error}; a quote, bracket or = is missing there, or just before"
        ) from error
    return read_written(written, text, origin, folder, environ)


def read_written(
    written: dict[str, Any], text: str, origin: str, folder: Path, environ: Mapping[str, str] = os.environ
) -> Loaded:
    """As `read_text`, of tables; `text` is the file from which they come."""
    mistakes = Mistakes(origin)
    _refuse_secrets(written, mistakes)
    data = _merged(_by_position(written, mistakes), _by_position(_environment(environ, mistakes), mistakes))
    declared = _declared_series(data)
    settings = _validated(data, mistakes)
    secrets = SecretFiles(folder, mistakes)
    configuration = resolve(settings, declared, secrets, mistakes, folder=folder, text=text)
    mistakes.raise_any()
    return Loaded(configuration, origin, tuple(secrets.warnings))


def example_text() -> str:
    """The commented example configuration that ships with Brinebell."""
    return files("collector").joinpath("data", EXAMPLE_NAME).read_text(encoding="utf-8")


def _file_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise ConfigError(
            f"there is no configuration file {path}: `brinebell check --example > {path}` writes one to edit"
        ) from error
    except OSError as error:
        raise ConfigError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise ConfigError(f"{path} is not UTF-8 text: byte {error.start} cannot be read") from error


def _refuse_secrets(written: dict[str, Any], mistakes: Mistakes) -> None:
    """Take secrets out of what the file says, and say where they belong instead."""
    for section, key in (("mqtt", "password"), ("database", "token")):
        table = written.get(section)
        if isinstance(table, dict) and table.pop(key, None) is not None:
            mistakes.add(
                (section, key),
                "a secret does not belong in this file; write it into a file of its own, readable by you "
                f"alone (chmod 600), and name that in {key}_file, "
                f"or set BRINEBELL_{section.upper()}__{key.upper()}",
            )
    people = written.get("people")
    for name, person in people.items() if isinstance(people, dict) else ():
        for key in ("urls", "urgent_urls", "high_urls", "low_urls") if isinstance(person, dict) else ():
            if person.pop(key, None) is not None:
                mistakes.add(
                    ("people", name, key),
                    "these hold secrets and do not belong in this file; write them into a file of their own, "
                    f"one a line, readable by you alone (chmod 600), and name that in {key}_file, "
                    f"or set BRINEBELL_PEOPLE__{name.upper()}__{key.upper()}",
                )


def _environment(environ: Mapping[str, str], mistakes: Mistakes) -> dict[str, Any]:
    """What the environment says, nested as the file is; names of variables are taken in any case."""
    ours = {name: value for name, value in environ.items() if name.upper().startswith(ENVIRONMENT_PREFIX)}
    for name in list(ours):
        section, delimiter, _ = name[len(ENVIRONMENT_PREFIX) :].partition(ENVIRONMENT_DELIMITER)
        if section.lower() not in Settings.model_fields:
            # One without the delimiter may belong to a script around us.
            if delimiter:
                mistakes.add(
                    ("environment", name),
                    f"no section {section.lower()!r}; {instead_of(section.lower(), Settings.model_fields)}",
                )
            del ours[name]
    found: dict[str, Any] = {}
    for name, value in sorted(ours.items()):
        source = EnvSettingsSource(Settings)
        source.env_vars = {name.lower(): value}
        try:
            found = _merged(found, source())
        except SettingsError:
            mistakes.add(
                ("environment", name),
                'a list or a table is written here as JSON, such as ["heater", "top_off"]',
            )
    return found


def _by_position(written: dict[str, Any], mistakes: Mistakes) -> dict[str, Any]:
    """Hold lists of tables by position, so that one can be taken out without renumbering the others."""
    data = dict(written)
    for name in _LISTS_OF_TABLES:
        held = data.get(name)
        if isinstance(held, list):
            data[name] = {str(position): one for position, one in enumerate(held)}
        elif held is not None and not (
            isinstance(held, dict) and all(key.isascii() and key.isdecimal() for key in held)
        ):
            mistakes.add((name,), f"a list of tables is needed: write [[{name}]] above each")
            del data[name]
    return data


def _merged(under: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """Two nested tables as one; where both have a value, that of `over` counts."""
    merged = dict(under)
    for key, value in over.items():
        below = merged.get(key)
        merged[key] = _merged(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return merged


def _declared_series(data: Mapping[str, Any]) -> dict[str, frozenset[str]]:
    """Tank -> names of its series as written, so that a reference to a faulty series is no mistake."""
    tanks = data.get("tanks")
    if not isinstance(tanks, dict):
        return {}
    declared = {}
    for name, tank in tanks.items():
        series = tank.get("series") if isinstance(tank, dict) else None
        declared[name] = frozenset(series if isinstance(series, dict) else ())
    return declared


def _validated(data: dict[str, Any], mistakes: Mistakes) -> Settings:
    """Check the structure; note what is wrong, take it out, and return the rest."""
    for name in [name for name in data if name not in Settings.model_fields]:
        mistakes.add((name,), _unknown((name,)))
        del data[name]
    is_first = True
    while True:
        try:
            return Settings(**data)
        except ValidationError as error:
            found = error.errors(include_url=False, include_context=True)
        is_less = False
        for one in found:
            where = tuple(one["loc"])
            if is_first:
                _note(where, one["type"], one["input"], mistakes)
            # A table that lacks a required key cannot be used; anything else is left out by itself.
            is_less |= _take_out(data, where[:-1] if one["type"] == "missing" else where)
        if not is_less:
            raise ConfigError(f"the configuration cannot be read: {found[0]['msg']} at {found[0]['loc']}")
        is_first = False


def _note(where: KeyPath, kind: str, value: object, mistakes: Mistakes) -> None:
    path = tuple(
        int(part) if at == 1 and where[0] in _LISTS_OF_TABLES else part for at, part in enumerate(where)
    )
    like = like_at(path)
    such_as = f", such as {like}" if like else ""
    if kind == "extra_forbidden":
        mistakes.add(path, _unknown(path))
    elif kind == "missing":
        mistakes.add(path, f"is missing: it must be given{such_as}")
    elif kind == "string_type" and isinstance(value, int | float) and not isinstance(value, bool):
        mistakes.add(path, f"text in quotes is needed, a quantity with its unit{such_as}", value=value)
    else:
        mistakes.add(path, f"{_NEEDED.get(kind, 'another kind of value')} is needed{such_as}", value=value)


def _unknown(path: KeyPath) -> str:
    """Say which key was meant, or where a key of that name belongs, or which keys there are."""
    key, valid = str(path[-1]), keys_at(path[:-1])
    if nearest(key, valid) is None:
        for known in documented_keys():
            if known.path.rpartition(".")[2] == key:
                return f"unknown key; it belongs at {known.path}"
    return f"unknown key; {instead_of(key, valid)}"


def _take_out(data: dict[str, Any], path: KeyPath) -> bool:
    """Delete what is at a path, or the value that holds it; False if it is gone already."""
    table = data
    for part in path[:-1]:
        below = table.get(str(part))
        if not isinstance(below, dict):
            return _delete(table, str(part))
        table = below
    return _delete(table, str(path[-1]))


def _delete(table: dict[str, Any], key: str) -> bool:
    is_there = key in table
    table.pop(key, None)
    return is_there
