"""What happened: the list of incidents, found by state, cause, priority, tank, verdict and span."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple
from urllib.parse import urlencode

from starlette.exceptions import HTTPException

from collector.pages.labels import Labels
from collector.pages.moments import full, rfc3339
from collector.pages.record import IncidentRecord, Record
from collector.pages.spans import instant_of
from collector.reviews import VERDICTS, Verdict, Wanted
from collector.wording.answers import state_text
from collector.wording.times import duration_text
from rules import CAUSES, AlarmState, Priority

A_PAGE = 50
_MOST_PAGES = 10_000
_MINUTE_US = 60_000_000
_STATES: Mapping[str, str] = {
    "open": "open",
    "ended": "ended",
    **{
        state.value: state.value
        for state in AlarmState
        if state not in (AlarmState.NORMAL, AlarmState.SUPPRESSED)
    },
}
_SAID: Mapping[str, str] = {"none": "nothing said yet", **{name: name for name in VERDICTS}}


@dataclass(frozen=True, slots=True)
class Instant:
    """An instant in the tank's time, and for machines."""

    text: str
    machine: str


def instant(at_us: int, zone: str) -> Instant:
    """An instant, to the second."""
    return Instant(full(at_us, zone, seconds=True), rfc3339(at_us))


@dataclass(frozen=True, slots=True)
class IncidentRow:
    """One line of the list; `verdict` is "" where nothing was said."""

    number: int
    cause: str
    tank: str
    series: str
    start: Instant
    duration: str
    priority: str
    state: str
    verdict: str = ""


class Choice(NamedTuple):
    """A field of the filter: its name, words, what can be chosen as (value, words), and what is chosen."""

    name: str
    words: str
    choices: tuple[tuple[str, str], ...]
    chosen: str


@dataclass(frozen=True, slots=True)
class IncidentList:
    """The page of the list; `newer` and `older` are addresses, None where there is no such page."""

    rows: tuple[IncidentRow, ...]
    fields: tuple[Choice, ...]
    first: str
    last: str
    newer: str | None
    older: str | None
    is_filtered: bool


def incident_list(record: Record, labels: Labels, query: Mapping[str, str], now_us: int) -> IncidentList:
    """The incidents that an address asks for.

    Raises
    ------
    HTTPException
        400 that names key and value of what is no such thing.
    """
    fields = _fields(labels, query)
    chosen = {field.name: field.chosen for field in fields if field.chosen}
    zone = labels.time_zone(chosen.get("tank") or next(iter(labels.tanks), ""))
    texts = {key: query.get(key, "").strip() for key in ("from", "to")}
    from_us, to_us = (instant_of(key, text, zone) for key, text in texts.items())
    if to_us is not None and len(texts["to"]) <= len("2026-03-07"):
        # A day is meant as a whole.
        to_us += 24 * 60 * _MINUTE_US
    page = whole_number(query, "page", 1, _MOST_PAGES)
    wanted = Wanted(**chosen, from_us=from_us, to_us=to_us)
    found = record.find_incidents(wanted, A_PAGE + 1, (page - 1) * A_PAGE)
    kept = {**chosen, **{key: text for key, text in texts.items() if text}}
    return IncidentList(
        rows=incident_rows(record, labels, found[:A_PAGE], now_us),
        fields=fields,
        first=texts["from"],
        last=texts["to"],
        newer=None if page == 1 else _address(kept, page - 1),
        older=_address(kept, page + 1) if len(found) > A_PAGE else None,
        is_filtered=bool(kept),
    )


def incident_rows(
    record: Record, labels: Labels, found: Iterable[IncidentRecord], now_us: int
) -> tuple[IncidentRow, ...]:
    """Incidents as lines, with what was said of each."""
    found = tuple(found)
    verdicts = record.verdicts([one.incident.number for one in found])
    return tuple(incident_row(one, labels, now_us, verdicts.get(one.incident.number)) for one in found)


def incident_row(
    record: IncidentRecord, labels: Labels, now_us: int, said: Verdict | None = None
) -> IncidentRow:
    """One incident as a line."""
    incident = record.incident
    ended_us = incident.ended_at_us
    lasted_us = (now_us if ended_us is None else ended_us) - incident.first_evidence_us
    return IncidentRow(
        number=incident.number,
        cause=labels.cause(incident.cause),
        tank=labels.tank_title(incident.tank),
        series=", ".join(labels.series(incident.tank, name).title for name in incident.series),
        start=Instant(
            full(incident.first_evidence_us, labels.time_zone(incident.tank)),
            rfc3339(incident.first_evidence_us),
        ),
        duration=duration_text(max(0, lasted_us)) + (" so far" if ended_us is None else ""),
        priority=str(incident.priority),
        state=state_text(
            record.answer,
            is_over=ended_us is not None,
            now_us=now_us,
            zone=labels.time_zone(incident.tank),
        ),
        verdict="" if said is None else said.verdict,
    )


def whole_number(query: Mapping[str, str], key: str, usual: int, most: int) -> int:
    """A number of the query; 400 that names key, value and range for anything else."""
    text = query.get(key)
    if text is None:
        return usual
    number = int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0
    if not 1 <= number <= most:
        raise HTTPException(400, f"{key}={text[:40]} is not a whole number from 1 to {most}.")
    return number


def _fields(labels: Labels, query: Mapping[str, str]) -> tuple[Choice, ...]:
    causes = sorted((one.code, one.title) for one in CAUSES.values())
    choices: list[tuple[str, str, Iterable[tuple[str, str]]]] = [
        ("state", "State", _STATES.items()),
        ("cause", "Cause", causes),
        ("priority", "Priority", [(one.value, one.value) for one in Priority]),
        ("verdict", "Verdict", _SAID.items()),
    ]
    if len(labels.tanks) > 1:
        choices.append(("tank", "Tank", [(name, labels.tank_title(name)) for name in labels.tanks]))
    return tuple(_field(name, words, tuple(found), query) for name, words, found in choices)


def _field(name: str, words: str, choices: tuple[tuple[str, str], ...], query: Mapping[str, str]) -> Choice:
    chosen = query.get(name, "")
    if chosen and chosen not in dict(choices):
        raise HTTPException(400, f"{name}={chosen[:40]} is none of {', '.join(dict(choices))}.")
    return Choice(name, words, choices, chosen)


def _address(kept: Mapping[str, str], page: int) -> str:
    query = {**kept, **({"page": str(page)} if page > 1 else {})}
    return f"/incidents?{urlencode(query)}" if query else "/incidents"
