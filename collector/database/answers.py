"""What a database says when it does not take what it is sent, read into the two errors that we know.

Refusing points and refusing us are kept apart with care: points that are refused are set aside, so an answer
that may come from a proxy, a wrong port or a wrong bucket must never count as one.

References
----------
InfluxDB 1 API reference, /write: 204, and 400 with {"error": "partial write: ... dropped=N"} or
{"error": "unable to parse ..."}; 401, 403, 404, 413, 500.
InfluxDB 2 API reference, POST /api/v2/write: 400 with {"code", "message", "line"}, 401, 404, 413, 422, 429
and 503 with Retry-After. Its forms were not run on a real version 2 server here.
"""

from __future__ import annotations

import re
from typing import Any

import orjson

from collector.database.target import NotTakenError, RefusedPointsError

_LONGEST = 300
_LONGEST_WAIT_S = 600.0
# Codes of version 2 that find fault with what was sent (its API reference, "code").
_ABOUT_POINTS = ("invalid", "unprocessable entity")
_DROPPED = re.compile(r"\s*dropped=(\d+)")
_POINTS = re.compile(
    r"partial write|unable to parse|failed to parse|points? beyond retention|field type conflict"
)
_MEND = {
    401: "give the token that the database knows (database.token_file)",
    403: "let the token, or user, write to this bucket",
    404: "make the bucket (or database), or correct database.bucket and database.org",
    405: "database.address or database.api is that of another program",
    413: "raise the limit of a body at the database, or at what stands before it",
}


def error_of(status: int, body: bytes, retry_after: str | None = None) -> NotTakenError | RefusedPointsError:
    """Which error an answer is that is no success.

    Parameters
    ----------
    status
        Of the HTTP answer.
    body
        Its body, JSON or not.
    retry_after
        The header of that name, in seconds; dates are passed over.
    """
    said = _object(body)
    text = str(said.get("error") or said.get("message") or "")
    if status in (400, 422) and _is_about_points(status, said, text):
        found = _DROPPED.search(text)
        # Without the count, points that share a reason share its text.
        return RefusedPointsError(
            _short(_DROPPED.sub("", text)), int(found[1]) if found and int(found[1]) else None
        )
    told = _short(text or body.decode("utf-8", "replace")) or "it says no more"
    return NotTakenError(
        f"the database answers {status}: {told}",
        _MEND.get(
            status, "" if status >= 500 or status == 429 else "look at database.address and database.api"
        ),
        retry_after_s=_seconds(retry_after),
        # 413: half of it may be small enough.
        is_slow=status == 413 or (status == 500 and "timeout" in text),
    )


def _is_about_points(status: int, said: dict[str, Any], text: str) -> bool:
    if _POINTS.search(text):
        return True
    code = said.get("code")
    # What else version 2 calls invalid is the request, such as a precision that it does not know.
    return (code in _ABOUT_POINTS and "line" in said) or (status == 422 and code in _ABOUT_POINTS)


def _object(body: bytes) -> dict[str, Any]:
    try:
        said = orjson.loads(body)
    except orjson.JSONDecodeError:
        return {}
    return said if isinstance(said, dict) else {}


def _short(text: str) -> str:
    """One printable line, cut."""
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return line if len(line) <= _LONGEST else f"{line[: _LONGEST - 3]}..."


def _seconds(retry_after: str | None) -> float:
    try:
        seconds = float(retry_after or 0)
    except ValueError:
        return 0.0
    return min(max(seconds, 0.0), _LONGEST_WAIT_S)
