"""Has a sketch drawn by a process of its own: what goes wrong there, or takes too long, ends with it."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from typing import Any

from collector.errors import BrinebellError

# A ring waits for its picture. Drawing takes a second where a core is slow and a start comes from a card;
# what takes longer than this is stuck, and the words are worth more.
PATIENCE_S = 5.0
# One at a time, for memory: a person with five channels gets five.
_drawing = threading.Lock()
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
COMMAND = (sys.executable, "-m", "collector.picture")


class PictureError(BrinebellError):
    """There is no picture; the text says why."""


def picture_of(
    sketch: Mapping[str, Any], *, command: Sequence[str] = COMMAND, patience_s: float = PATIENCE_S
) -> bytes:
    """Return a sketch, given as what `Sketch.to_data` returned, as PNG.

    Raises
    ------
    PictureError
        If that fails or takes longer than `patience_s`.
    """
    if not _drawing.acquire(timeout=patience_s):
        raise PictureError(f"another one was still being drawn after {patience_s:g} s")
    try:
        done = subprocess.run(
            command,
            input=json.dumps(sketch).encode(),
            capture_output=True,
            timeout=patience_s,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise PictureError(f"drawing it took longer than {patience_s:g} s") from error
    except (OSError, TypeError, ValueError) as error:
        raise PictureError(f"drawing it could not begin: {error}") from error
    finally:
        _drawing.release()
    if done.returncode or not done.stdout.startswith(_SIGNATURE):
        complaint = done.stderr.decode(errors="replace").strip().splitlines()
        why = complaint[-1] if complaint else f"status {done.returncode}"
        raise PictureError(f"it could not be drawn: {why}")
    return done.stdout
