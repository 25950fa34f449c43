"""The documentation of keys: every key with its unit, default and meaning, drawn from the models.

Also finds which keys a table may have, so that a misspelt one can be answered with the right one.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from enum import Enum
from types import UnionType
from typing import Any, NamedTuple, Union, get_args, get_origin

from pydantic import BaseModel, SecretStr
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from collector.settings.defaults import ALARM_DEFAULTS
from collector.settings.equipment import EQUIPMENT
from collector.settings.mistakes import Path
from collector.settings.model import Settings
from rules import FAULTS, MICROSECONDS, QUANTITIES, ROLES, Parameter

# How the name that a keeper chooses is written in the path of a key, by the table that holds it.
_CHOSEN = {"people": "<person>", "tanks": "<tank>", "series": "<series>"}


class DocumentedKey(NamedTuple):
    """One key: its path with <names> for what the keeper chooses, unit, default and meaning, as text."""

    path: str
    unit: str
    default: str
    meaning: str
    like: str


def documented_keys() -> Iterator[DocumentedKey]:
    """Every key that the file may have, in the order of the models."""
    yield from _keys_of(Settings, "")


def fault_parameters() -> Iterator[DocumentedKey]:
    """Every parameter of every fault, with its default in canonical units."""
    for fault in FAULTS.values():
        for parameter in fault.parameters:
            default = parameter_text(parameter)
            yield DocumentedKey(
                f"tanks.<tank>.faults.{fault.code}.{parameter.name}",
                parameter.kind,
                f'"{default}"',
                parameter.meaning,
                f'"{default}"',
            )


def parameter_text(parameter: Parameter) -> str:
    """The default of a fault's parameter as a keeper would write it."""
    if parameter.kind == "duration":
        return f"{parameter.default / MICROSECONDS / 60:g} min"
    unit = "" if parameter.kind == "number" else QUANTITIES[parameter.quantity]
    return f"{parameter.default:g} {unit}".rstrip() + ("/h" if parameter.kind == "rate" else "")


def keys_text() -> str:
    """The whole documentation as text: keys, parameters of faults, alarm defaults by quantity."""
    lines = [
        'Keys of the configuration file. Values are written with their unit, in quotes: "25.4 degC",',
        '"40 min", "20 L". Any key can also come from the environment, which wins over the file:',
        "BRINEBELL_ and the path in capitals with __ for each dot, BRINEBELL_MQTT__HOST=10.0.0.7.",
        "",
    ]
    for key in (*documented_keys(), *fault_parameters()):
        unit = f" ({key.unit})" if key.unit else ""
        lines += [f"{key.path}{unit}", f"    {key.meaning}; default: {key.default}"]
    lines += ["", "Equipment of a tank", ""]
    lines += [f"{word}: {meaning}" for word, meaning in EQUIPMENT.items()]
    lines += ["", "Roles of series (quantities: what the series is of)", ""]
    for role in ROLES.values():
        alone = "; a series that is alone of its quantity has it" if role.is_taken_alone else ""
        lines += [f"{role.name} ({' or '.join(role.quantities)}): {role.meaning}{alone}"]
    lines += ["", "Alarm defaults by quantity (unit: deadband, on_delay, off_delay: reason)", ""]
    for quantity, default in ALARM_DEFAULTS.items():
        unit = QUANTITIES[quantity] or "no unit"
        on_delay = default.on_delay
        if default.danger_on_delay:
            on_delay += f" ({default.danger_on_delay} at danger lines)"
        lines += [
            f"{quantity} ({unit}): {default.deadband or '0'}, {on_delay}, {default.off_delay}",
            f"    {default.reason}",
        ]
    return "\n".join(lines)


def keys_at(path: Path) -> tuple[str, ...]:
    """The keys that the table at a path may have; none where the keeper chooses them."""
    annotation, _ = _at(path)
    if not _is_model(annotation):
        return ()
    fields: dict[str, FieldInfo] = annotation.model_fields
    return tuple(name for name, field in fields.items() if _inner(field.annotation) is not SecretStr)


def like_at(path: Path) -> str:
    """An example of a right value at a path, "" where there is none."""
    _, field = _at(path)
    return str((field.examples or [""])[0]) if field is not None else ""


def _at(path: Path) -> tuple[Any, FieldInfo | None]:
    """What the models hold at a path: the annotation, and the last field on the way to it."""
    annotation: Any = Settings
    field: FieldInfo | None = None
    for part in path:
        if _is_model(annotation):
            field = annotation.model_fields.get(str(part))
            annotation = _inner(field.annotation) if field is not None else None
        elif get_args(annotation):
            # A table of chosen names or a list: step to what each place holds.
            annotation = _inner(get_args(annotation)[-1])
        else:
            annotation = None
    return annotation, field


def _keys_of(model: type[BaseModel], prefix: str) -> Iterator[DocumentedKey]:
    for name, field in model.model_fields.items():
        inner = _inner(field.annotation)
        path = prefix + name
        if _is_model(inner):
            yield from _keys_of(inner, f"{path}.")
            continue
        if get_origin(inner) is dict and _is_model(_inner(get_args(inner)[1])):
            held = _inner(get_args(inner)[1])
            yield from _keys_of(held, f"{path}.{_CHOSEN[name]}." if name in _CHOSEN else f"{path}[].")
            continue
        if inner is SecretStr or name == "faults":
            # Secrets are no keys of the file, and faults are told with their own parameters.
            continue
        extra = field.json_schema_extra
        unit = str(extra.get("unit", "")) if isinstance(extra, dict) else ""
        like = str((field.examples or [""])[0])
        yield DocumentedKey(path, unit, _default_text(field), field.description or "", like)


def _default_text(field: FieldInfo) -> str:
    if field.default is PydanticUndefined:
        return "none, must be given"
    if field.default is None or field.default in ([], {}):
        extra = field.json_schema_extra
        return str(extra.get("otherwise", "none")) if isinstance(extra, dict) else "none"
    if isinstance(field.default, Enum):
        return json.dumps(field.default.value)
    return json.dumps(field.default)


def _inner(annotation: Any) -> Any:
    """What an optional annotation holds, else the annotation itself."""
    if get_origin(annotation) in (Union, UnionType):
        return next(one for one in get_args(annotation) if one is not type(None))
    return annotation


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)
