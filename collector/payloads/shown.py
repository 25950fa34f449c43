"""How a piece of a payload or topic is shown to a person: on one line, printable, and cut."""

from __future__ import annotations

# Enough to recognise a value by; a log line holds two of them and the reason.
LONGEST_SHOWN = 60


def shown(piece: object, longest: int = LONGEST_SHOWN) -> str:
    """Return text, bytes or anything else as printable text of at most `longest` characters."""
    if piece == "" or piece == b"":
        return shown("an empty text" if piece == "" else "an empty payload", longest)
    if isinstance(piece, bytes | bytearray | memoryview):
        # Four bytes may be one character: cut before decoding, and again after it.
        text = bytes(piece[: 4 * longest]).decode("utf-8", "backslashreplace")
    elif isinstance(piece, str):
        text = piece[: longest + 1]
    elif isinstance(piece, list | tuple | dict):
        # Not what it holds: it may be as deep and as wide as the payload, or hold itself.
        text = f"{'an object' if isinstance(piece, dict) else 'an array'} of {len(piece)}"
    elif piece is None:
        text = "null"
    elif isinstance(piece, bool):
        text = "true" if piece else "false"
    elif isinstance(piece, int | float):
        text = f"{piece:.17g}" if isinstance(piece, float) else str(piece)
    else:
        text = f"a {type(piece).__name__}"
    if not text.isprintable():
        text = "".join(
            sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii") for sign in text
        )
    return text if len(text) <= longest else text[: longest - 1] + "…"
