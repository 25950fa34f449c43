"""Readings as InfluxDB line protocol: one measurement, three tags, two fields.

=============  ==================================================================================
measurement    `reading`
tags           `quantity`, `series`, `tank`: the words of the configuration
field `value`  float, in the canonical unit of the quantity; absent where nothing was measured
field `flag`   integer, the primary flag of the IOOS QARTOD manuals: 1, 2, 3, 4 or 9
time           when it was observed, nanoseconds since 1970 UTC, of which the last three digits are 0
=============  ==================================================================================

Measurement, tags and time name a point: one that is sent again overwrites itself. Line protocol knows no NaN
and no infinity, so that a reading without a finite value has its flag alone.

References
----------
InfluxDB line protocol reference: escapes, types, and that the same name and time overwrite.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import orjson

from collector.store import SeriesTags

MEASUREMENT = "reading"
TAGS = ("quantity", "series", "tank")
VALUE, FLAG = "value", "flag"
# In tags: backslash before comma, equals sign and space (the same reference).
_ESCAPES = str.maketrans({sign: f"\\{sign}" for sign in ",= "})
# Flags are one digit.
_FLAGS = tuple(b"," + FLAG.encode() + b"=%di " % flag for flag in range(16))


def lines_of(
    tags: Mapping[int, SeriesTags],
    series: Sequence[int],
    times_us: Sequence[int],
    values: Sequence[float | None],
    flags: Sequence[int],
) -> list[bytes]:
    """One line a reading, without its end.

    Parameters
    ----------
    tags
        Of every series that occurs in `series`.
    series, times_us, values, flags
        Of equal length; times in microseconds since 1970 UTC, values None where nothing was measured.
    """
    heads = {one: _head(tags[one]) for one in set(series)}
    # The shortest text that reads back as the same number, for all at once; what is no number is null.
    texts = orjson.dumps(values)[1:-1].split(b",") if values else []
    times = orjson.dumps(times_us)[1:-1].split(b",") if times_us else []
    begins = {one: head + b" " + VALUE.encode() + b"=" for one, head in heads.items()}
    lines = [
        b"%b%b%b%b000" % parts
        for parts in zip(
            map(begins.__getitem__, series), texts, map(_FLAGS.__getitem__, flags), times, strict=True
        )
    ]
    if b"null" in texts:
        for at, text in enumerate(texts):
            if text == b"null":
                lines[at] = b"%b %b%b000" % (heads[series[at]], _FLAGS[flags[at]][1:], times[at])
    return lines


def _head(tags: SeriesTags) -> bytes:
    named = ((TAGS[0], tags.quantity), (TAGS[1], tags.name), (TAGS[2], tags.tank))
    return ",".join((MEASUREMENT, *(f"{key}={text.translate(_ESCAPES)}" for key, text in named))).encode()
