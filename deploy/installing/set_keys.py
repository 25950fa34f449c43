"""Set keys of a configuration file in place: remarks, order and all other lines stay as they are.

`deploy/install` calls it with the system's Python, before there is any other:

    set_keys.py brinebell.toml mqtt.username brinebell page.listen 0.0.0.0:8460
    set_keys.py brinebell.toml --zone Africa/Nairobi       time_zone of every tank

Values are text. A key that stands in its table as a remark, `#username = ...`, is set on that line.
"""

import json
import re
import sys
import tomllib
from pathlib import Path

_HEADING = re.compile(r"\s*\[{1,2}\s*([^\[\]]+?)\s*\]{1,2}\s*(#.*)?$")


def with_key(text: str, table: str, key: str, value: str) -> str:
    """The file with one key set, in the table of that dotted name, which is added if it is not there."""
    # A JSON string is a basic string of TOML, but for the characters beyond ASCII that need no escape.
    line = f"{key} = {json.dumps(value, ensure_ascii=False)}"
    lines = text.splitlines()
    begin = next((at for at, one in enumerate(lines) if _heading(one) == table), None)
    if begin is None:
        return "\n".join([*lines, "", f"[{table}]", line, ""])
    end = next((at for at in range(begin + 1, len(lines)) if _heading(lines[at]) is not None), len(lines))
    written = _places(lines, begin, end, rf"\s*{re.escape(key)}\s*=")
    remarks = _places(lines, begin, end, rf"\s*#\s*{re.escape(key)}\s*=")
    if written or remarks:
        lines[(written or remarks)[0]] = line
    else:
        lines.insert(begin + 1, line)
    return "\n".join([*lines, ""])


def tanks(text: str) -> list[str]:
    """The tables of tanks, as dotted names."""
    return [f"tanks.{name}" for name in tomllib.loads(text).get("tanks", {})]


def _heading(line: str) -> str | None:
    found = _HEADING.match(line)
    return found[1] if found else None


def _places(lines: list[str], begin: int, end: int, pattern: str) -> list[int]:
    return [at for at in range(begin + 1, end) if re.match(pattern, lines[at])]


def _standing(text: str, table: str, key: str) -> object:
    found: object = tomllib.loads(text)
    for part in (*table.split("."), key):
        found = found.get(part) if isinstance(found, dict) else None
    return found


def main(path: Path, words: list[str]) -> None:
    """Set what the words say, and see that it stands there before the file is written."""
    text = path.read_text(encoding="utf-8")
    if words[0] == "--zone":
        wanted = [(table, "time_zone", words[1]) for table in tanks(text)]
    else:
        pairs = zip(words[::2], words[1::2], strict=True)
        wanted = [(name.rpartition(".")[0], name.rpartition(".")[2], value) for name, value in pairs]
    for table, key, value in wanted:
        text = with_key(text, table, key, value)
        if _standing(text, table, key) != value:
            sys.exit(
                f"{table}.{key} could not be set: write {key} = {json.dumps(value)} under [{table}] yourself"
            )
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    try:
        main(Path(sys.argv[1]), sys.argv[2:])
    except tomllib.TOMLDecodeError as error:
        sys.exit(f"the configuration is no TOML: {error}; correct it first")
