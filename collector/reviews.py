"""What people say of an incident afterwards: what it truly was, and notes.

Both are requests like all others, done once, in the commit that answers them. What was said last of an
incident counts, and makes an annotation: the truth against which settings are tuned.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple, Protocol, TypeAlias

from rules import CAUSES, HOUR_US, NO_CAUSES, Annotation, Incident

REAL, LATE, FALSE, PLANNED = "real", "late", "false", "planned"
# What a person may say, and what it means.
VERDICTS: Mapping[str, str] = MappingProxyType(
    {
        REAL: "it was so, and the ring was right",
        LATE: "it was so, and should have rung earlier",
        FALSE: "nothing was the matter",
        PLANNED: "it was our own work on the tank",
    }
)
_NOTHING, _OWN_WORK = NO_CAUSES
MOST_CHARACTERS = 2000
# Nobody saw the beginning itself: settings that alarm a little before what was first evidence with the
# present ones have found the same, and no false alarm.
BEFORE_EVIDENCE_US = HOUR_US


@dataclass(frozen=True, slots=True)
class GiveVerdict:
    """Say what an incident truly was; an empty verdict takes back what was said.

    `cause` is what it was if not what was told, `began_us` when it began if somebody knows, and
    `ring_by_us` by when a late one should have rung.
    """

    incident: int
    verdict: str
    cause: str = ""
    began_us: int | None = None
    ring_by_us: int | None = None

    def __str__(self) -> str:
        said = f"say of incident {self.incident}: {self.verdict}"
        return said if self.verdict else f"take back the verdict on incident {self.incident}"


@dataclass(frozen=True, slots=True)
class AddNote:
    """Write something beside an incident."""

    incident: int
    text: str

    def __str__(self) -> str:
        return f"note on incident {self.incident}"


@dataclass(frozen=True, slots=True)
class StrikeNote:
    """Strike a note on an incident, by its `id`: it does not hold, and stays to be read as struck."""

    incident: int
    note: int

    def __str__(self) -> str:
        return f"strike a note on incident {self.incident}"


AboutReviews: TypeAlias = GiveVerdict | AddNote | StrikeNote


class Verdict(NamedTuple):
    """What was said last of an incident: when, by whom, and the fields of `GiveVerdict`."""

    incident: int
    at_us: int
    who: str
    verdict: str
    cause: str = ""
    began_us: int | None = None
    ring_by_us: int | None = None


class Note(NamedTuple):
    """A note on an incident, as somebody wrote it; `struck_us` and `struck_by` where it was struck."""

    incident: int
    at_us: int
    who: str
    text: str
    id: int = 0
    struck_us: int | None = None
    struck_by: str = ""


class Wanted(NamedTuple):
    """Which incidents are looked for; what is empty or None does not matter.

    Parameters
    ----------
    state
        "open" or "ended", or a state of the telling in the words of ISA-18.2 ("unacknowledged").
    verdict
        One of `VERDICTS`, or "none" where nothing was said yet.
    tank, cause, priority
        Of the incident.
    from_us, to_us
        It lasted at some time in this range.
    """

    state: str = ""
    verdict: str = ""
    tank: str = ""
    cause: str = ""
    priority: str = ""
    from_us: int | None = None
    to_us: int | None = None


class _IncidentRecord(Protocol):
    @property
    def incident(self) -> Incident: ...


class _History(Protocol):
    @property
    def record(self) -> _IncidentRecord: ...


class Incidents(Protocol):
    """What is needed of the store."""

    def incident(self, number: int) -> _History:
        """One incident; KeyError if there is none of that number."""
        ...

    def notes(self, incident: int) -> Sequence[Note]:
        """Notes on it."""
        ...


def done_text(asked: AboutReviews, incidents: Incidents) -> str:
    """What is answered to a request that can be done.

    Raises
    ------
    ValueError
        If it cannot be done; the text says why.
    """
    try:
        incident = incidents.incident(asked.incident).record.incident
    except (KeyError, OverflowError):
        raise ValueError(f"there is no incident {asked.incident}") from None
    if isinstance(asked, AddNote):
        if not asked.text.strip():
            raise ValueError("an empty note says nothing")
        if len(asked.text) > MOST_CHARACTERS:
            raise ValueError(f"the note has {len(asked.text)} characters, {MOST_CHARACTERS} are kept at most")
        return "noted"
    if isinstance(asked, StrikeNote):
        note = next((one for one in incidents.notes(asked.incident) if one.id == asked.note), None)
        if note is None:
            raise ValueError(f"there is no such note on incident {asked.incident}")
        if note.struck_us is not None:
            raise ValueError("the note was struck before")
        return "the note is struck"
    if not asked.verdict:
        return "the verdict is taken back"
    if asked.verdict not in VERDICTS:
        raise ValueError(f"there is no verdict {asked.verdict!r}: one of {', '.join(VERDICTS)}")
    if asked.cause and asked.cause not in CAUSES:
        raise ValueError(f"there is no cause {asked.cause!r}: `brinebell causes` lists them")
    if asked.began_us is not None and asked.began_us > incident.alarmed_at_us:
        raise ValueError("it cannot have begun after the alarm")
    if asked.ring_by_us is not None and asked.began_us is not None and asked.ring_by_us < asked.began_us:
        raise ValueError("it cannot have had to ring before it began")
    return f"kept: {VERDICTS[asked.verdict]}"


def annotation_of(incident: Incident, said: Verdict) -> Annotation | None:
    """What a verdict means as an annotation; None where it was taken back."""
    first_us = min(incident.first_evidence_us, incident.alarmed_at_us)
    note = f"incident {incident.number}, said by {said.who}" if said.who else f"incident {incident.number}"
    match said.verdict:
        case "":
            return None
        case "false" | "planned":
            cause = _NOTHING if said.verdict == FALSE else _OWN_WORK
            return Annotation(
                incident.tank, cause, first_us, _end_us(incident, first_us), incident.series, None, note
            )
    from_us = first_us - BEFORE_EVIDENCE_US if said.began_us is None else said.began_us
    ring_by_us = said.ring_by_us
    if said.verdict == LATE and ring_by_us is None:
        ring_by_us = max(from_us, first_us)
    return Annotation(
        incident.tank,
        said.cause or incident.cause,
        from_us,
        _end_us(incident, from_us),
        incident.series,
        ring_by_us,
        note,
    )


def annotations_of(reviewed: Iterable[tuple[Incident, Verdict]]) -> tuple[Annotation, ...]:
    """The annotations of what was said, in order of time."""
    found = (annotation_of(incident, said) for incident, said in reviewed)
    return tuple(sorted((one for one in found if one is not None), key=lambda one: one.from_us))


def _end_us(incident: Incident, from_us: int) -> int | None:
    return None if incident.ended_at_us is None else max(incident.ended_at_us, from_us + 1)
