"""An incident to take along: one HTML file, its readings and its happenings as CSV, Markdown, a picture."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import NamedTuple

from collector.account import rfc3339
from collector.learning import Standing, newest_standing
from collector.pages.labels import Labels
from collector.pages.record import Readings, Record
from collector.pages.story import Story, whole_span
from collector.picture.gathering import sketch_of
from collector.picture.process import PictureError, picture_of
from rules import HOUR_US

# What can be taken along: the end of the address, and what its link says.
EXPORTS: Mapping[str, str] = MappingProxyType(
    {
        "story.html": "The page as one file",
        "story.md": "As text (Markdown)",
        "readings.csv": "Readings (CSV)",
        "events.csv": "All that happened (CSV)",
        "picture.png": "A picture (PNG)",
    }
)
_MEDIA = {
    "html": "text/html; charset=utf-8",
    "md": "text/markdown; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "png": "image/png",
}
# No more than what a database answers for while somebody waits, of one series.
_PIECE_US = 6 * HOUR_US
# What a table calculation would take for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_MARKDOWN = re.compile(r"([\\`*_{}\[\]<>#|~])")


class Exported(NamedTuple):
    """A file to take along."""

    name: str
    media_type: str


def exported(number: int, name: str) -> Exported:
    """What the file is called where it is kept."""
    ending = name.rpartition(".")[2]
    kind = "" if name.startswith("story") or ending == "png" else f"-{name.partition('.')[0]}"
    return Exported(f"incident-{number}{kind}.{ending}", _MEDIA[ending])


def readings_csv(record: Record, story: Story, labels: Labels) -> Iterator[str]:
    """Every reading of all series of the tank around an incident, in pieces, as `brinebell replay` reads it.

    `value` is in the canonical unit of the series, empty where nothing was measured; `flag` is the primary
    flag of QARTOD. Where something is missing a remark, which begins with #, says what and why.
    """
    yield "time,series,value,unit,flag\r\n"
    start_us, end_us = story.span.start_us, story.span.end_us
    for from_us in range(start_us, end_us, _PIECE_US):
        to_us = min(from_us + _PIECE_US, end_us)
        for label in labels.all_series:
            if label.tank != story.incident.tank:
                continue
            try:
                series = record.series_id(label.tank, label.name)
            except KeyError:
                continue
            found, lack = record.all_readings(series, from_us, to_us)
            if lack:
                span = f"from {rfc3339(from_us)} to {rfc3339(to_us)}"
                yield f"# {label.key} is not whole {span}: {' '.join(lack.split())}\r\n"
            columns = zip(found.times_us.tolist(), found.values.tolist(), found.flags.tolist(), strict=True)
            yield "".join(
                f"{rfc3339(at_us)},{label.key},{_number(value)},{label.unit or ''},{flag}\r\n"
                for at_us, value, flag in columns
            )


def events_csv(story: Story) -> str:
    """All that happened, a line each."""
    file = io.StringIO()
    rows = csv.writer(file)
    rows.writerow(("time", "kind", "what", "detail", "who"))
    for one in story.happened:
        texts = (one.kind, one.what, one.detail, one.who)
        rows.writerow(
            (one.at.machine, *(f"'{text}" if text.startswith(_FORMULA) else text for text in texts))
        )
    return file.getvalue()


def markdown(story: Story) -> str:
    """The story as text."""
    row = story.row
    verdict = "" if story.verdict is None else f" Verdict: {story.verdict.verdict}."
    parts = [
        f"# Incident {row.number}: {_plain(story.title)}",
        _plain(story.body),
        f"{_plain(row.state[:1].upper() + row.state[1:])}, {row.duration}.{verdict}",
        "## What happened",
        _list(f"{key}: {text}" for key, text in story.facts),
        "## What it is based on",
        _list([*(f"{key}: {text}" for key, text in story.evidence), *story.reasons]),
    ]
    if story.rivals:
        parts += ["## What else it may be", _list(story.rivals)]
    parts.append("## What was measured")
    if story.lack:
        parts.append(f"{_plain(story.lack)}.")
    parts.append(
        _list(
            words
            for one in story.series
            for words in (
                one.chart.words,
                *([f"Limits: {one.limits}."] if one.limits else []),
                *one.projections,
            )
        )
    )
    parts += [
        "## All that happened",
        _table(
            ("When", "What", "More"),
            (
                (one.at.text, one.what, f"{one.detail}{', ' if one.detail and one.who else ''}{one.who}")
                for one in story.happened
            ),
        ),
        "## What the tank looked like before",
        _table(
            ("Series", "Hour before", "A day earlier", "Usual then"),
            (
                (one.title, one.value, one.day_earlier, f"{one.usual}{f': {one.where}' if one.where else ''}")
                for one in story.before.rows
            ),
        ),
    ]
    if story.similar:
        parts += [
            "## Similar ones before",
            _list(
                f"{one.row.number}: {one.row.cause}, {one.row.start.text}, {one.row.duration}, {one.how}"
                for one in story.similar
            ),
        ]
    parts.append(f"Times are the tank's: {story.time_zone}.")
    return "\n\n".join(filter(None, parts)) + "\n"


def picture(record: Record, labels: Labels, story: Story, now_us: int) -> bytes | None:
    """The first concerned series around an incident as PNG, drawn by another process; None without readings.

    Raises
    ------
    PictureError
        If that fails or takes too long, or not all readings can be had.
    """
    whole = whole_span(story.incident, story.time_zone, now_us)
    ended_us = story.incident.ended_at_us
    until_us = now_us if ended_us is None else whole.end_us

    def usual() -> dict[int, Standing]:
        found = {}
        for index, one in enumerate(labels.all_series):
            try:
                series = record.series_id(one.tank, one.name)
            except KeyError:
                continue
            at_us = story.incident.alarmed_at_us
            standing = newest_standing(record.usual_versions(series, at_us, at_us + 1))
            if one.tank == story.incident.tank and standing is not None:
                found[index] = standing
        return found

    sketch = sketch_of(
        _Whole(record), labels.configuration, usual, story.incident.number, until_us, start_us=whole.start_us
    )
    return None if sketch is None else picture_of(sketch.to_data())


class _Whole:
    """The record for a picture, which has no room to say what is missing."""

    def __init__(self, record: Record) -> None:
        self.incident, self.series_id = record.incident, record.series_id
        self._record = record

    def readings(self, series: int, start_us: int, end_us: int) -> Readings:
        readings, lack = self._record.all_readings(series, start_us, end_us)
        if lack:
            raise PictureError(lack)
        return readings


def _number(value: float) -> str:
    return repr(value) if math.isfinite(value) else ""


def _plain(text: str) -> str:
    """A text that Markdown takes as it is, on one line."""
    return _MARKDOWN.sub(r"\\\1", " ".join(text.split()))


def _list(lines: Iterable[str]) -> str:
    return "\n".join(f"- {_plain(line)}" for line in lines)


def _table(heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [heads, tuple("---" for _ in heads), *(tuple(map(_plain, row)) for row in rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)
