"""An annotation file written out, so that it reads back the same."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import UTC, datetime

from rules import MICROSECONDS, Annotation


def annotations_text(title: str, annotations: Iterable[Annotation], heading: Iterable[str] = ()) -> str:
    """The text of a file; `heading` are lines of remarks before it."""
    parts = ["".join(f"# {line}\n" for line in heading)]
    parts.append(f"title = {_text(title)}\n")
    for one in annotations:
        lines = ["[[annotation]]", f"from = {_instant(one.from_us)}"]
        if one.to_us is not None:
            lines.append(f"to = {_instant(one.to_us)}")
        lines += [f"cause = {_text(one.cause)}", f"tank = {_text(one.tank)}"]
        if one.series:
            lines.append(f"series = [{', '.join(map(_text, one.series))}]")
        if one.ring_by_us is not None:
            lines.append(f"ring_by = {_instant(one.ring_by_us)}")
        if one.note:
            lines.append(f"note = {_text(one.note)}")
        parts.append("\n".join(lines) + "\n")
    return "\n".join(filter(None, parts))


def _text(value: str) -> str:
    # A basic string of TOML has the escapes of JSON, and takes no DEL.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _instant(at_us: int) -> str:
    seconds, micros = divmod(at_us, MICROSECONDS)
    part = f".{micros:06d}".rstrip("0").rstrip(".") if micros else ""
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}{part}Z"
