"""What people ask the service for while it runs, and what it makes of its plan of works.

A request is written down by whoever asks, with an id of its own, and done once by the service: the change
and the answer become durable in one commit. Nothing else changes the plan.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeAlias

from collector.alarm_requests import AboutAlarms
from collector.care_requests import RecordCalibration
from collector.recurrence import RecurringWork
from collector.reviews import AboutReviews
from rules import HOUR_US, KINDS, PlannedWork

_MINUTE_US = HOUR_US // 60
_DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class BeginWork:
    """Know of work; what touches planned work of its kind is one with it, and ends when this says."""

    tank: str
    kind: str
    from_us: int
    to_us: int

    def __str__(self) -> str:
        minutes = (self.to_us - self.from_us) / _MINUTE_US
        return f"begin {_words(self.kind)} in {self.tank} for {minutes:.0f} min"


@dataclass(frozen=True, slots=True)
class EndWork:
    """The work that goes on in a tank is over; what has not begun is left as planned. Empty: of any kind."""

    tank: str
    kind: str = ""

    def __str__(self) -> str:
        return f"end {_words(self.kind)} in {self.tank}"


# Who means works of every kind says so: silence about it could be a slip.
EVERY_KIND = "all"


@dataclass(frozen=True, slots=True)
class CancelWork:
    """Forget works of a tank that have not begun yet. Empty: of any kind; `from_us`: that one alone."""

    tank: str
    kind: str = ""
    from_us: int | None = None

    def __str__(self) -> str:
        return f"cancel {_words(self.kind)} in {self.tank}"


@dataclass(frozen=True, slots=True)
class ImportWorks:
    """Plan these works of a tank, instead of all that were imported for it before."""

    tank: str
    works: tuple[RecurringWork, ...]

    def __str__(self) -> str:
        return f"import {_count(len(self.works))} of {self.tank}"


AboutWork: TypeAlias = BeginWork | EndWork | CancelWork | ImportWorks
Asked: TypeAlias = AboutWork | AboutAlarms | AboutReviews | RecordCalibration


@dataclass(frozen=True, slots=True)
class Request:
    """What somebody asked for, and when; `id` tells it from any other."""

    id: str
    asked_us: int
    who: str
    asked: Asked


class Answer(NamedTuple):
    """What became of a request, in a sentence; `is_done` is False where it could not be done."""

    request: str
    is_done: bool
    text: str


class Plan:
    """The works that are known.

    Parameters
    ----------
    works
        Known so far.
    tanks
        Names of those that there are.
    recurring
        What comes again and again.
    imported
        What came out of a file, and comes once or again.
    once_known
        Works that were known at any time since two days ago, also if they were ended or cancelled: a
        recurring one is planned once.
    """

    def __init__(
        self,
        works: Iterable[PlannedWork],
        tanks: Iterable[str],
        recurring: Iterable[RecurringWork] = (),
        once_known: Iterable[PlannedWork] = (),
        imported: Iterable[RecurringWork] = (),
    ) -> None:
        self.works = tuple(works)
        self._tanks = tuple(tanks)
        self._recurring = tuple(recurring)
        self._imported = tuple(imported)
        self._begun = {_beginning(work) for work in once_known}

    def look_ahead(self, now_us: int) -> bool:
        """Plan what recurs, from a day ago (for a backlog) until a day ahead; whether `works` changed."""
        self._begun = {one for one in self._begun if one[2] > now_us - 2 * _DAY_US}
        changed = False
        for recurring in (*self._recurring, *self._imported):
            for work in recurring.between(now_us - _DAY_US, now_us + _DAY_US):
                if _beginning(work) in self._begun:
                    continue
                self._begun.add(_beginning(work))
                # Who has begun early, or plans the same by hand, is not to be told twice.
                if any(_is_one(one, BeginWork(*_fields(work))) for one in self.works):
                    continue
                self.works = tuple(sorted([*self.works, work]))
                changed = True
        return changed

    def take(self, request: Request, now_us: int) -> Answer:
        """Do what is asked; `works` are those known afterwards, without those that have been forgotten."""
        self.works = tuple(work for work in self.works if work.forgotten_us > now_us)
        asked = request.asked
        if not isinstance(asked, AboutWork):
            raise TypeError(f"{asked} is about no work")
        if asked.tank not in self._tanks:
            known = ", ".join(self._tanks)
            return Answer(request.id, False, f"there is no tank {asked.tank!r}: one of {known}")
        if isinstance(asked, ImportWorks):
            return self._import(request.id, asked, now_us)
        if asked.kind and asked.kind not in KINDS:
            known = ", ".join(KINDS)
            return Answer(request.id, False, f"there is no work {asked.kind!r}: one of {known}")
        match asked:
            case BeginWork():
                return self._begin(request.id, asked)
            case EndWork():
                return self._end(request, asked, now_us)
            case CancelWork():
                return self._cancel(request.id, asked, now_us)

    def _begin(self, request: str, asked: BeginWork) -> Answer:
        same = [work for work in self.works if _is_one(work, asked)]
        try:
            work = PlannedWork(
                asked.tank, asked.kind, min([asked.from_us, *(one.from_us for one in same)]), asked.to_us
            )
        except ValueError as error:
            return Answer(request, False, str(error))
        self.works = tuple(sorted([*(one for one in self.works if one not in same), work]))
        return Answer(request, True, "it goes on" if same else "planned")

    def _end(self, request: Request, asked: EndWork, now_us: int) -> Answer:
        # It was over when that was said, however late it is heard.
        end_us = min(request.asked_us, now_us)
        ended = [work for work in self.works if _is_of(work, asked) and work.from_us <= end_us < work.to_us]
        if not ended:
            return Answer(request.id, False, f"no {_words(asked.kind)} goes on in {asked.tank}")
        shorter = [replace(work, to_us=end_us) for work in ended if work.from_us < end_us]
        self.works = tuple(sorted([*(work for work in self.works if work not in ended), *shorter]))
        return Answer(request.id, True, f"{_list(ended)} in {asked.tank} is over")

    def _import(self, request: str, asked: ImportWorks, now_us: int) -> Answer:
        wrong = next((one for one in asked.works if one.tank != asked.tank or one.kind not in KINDS), None)
        if wrong is not None:
            return Answer(request, False, f"{_words(wrong.kind)} in {wrong.tank} is no work of {asked.tank}")
        before = [one for one in self._imported if one.tank == asked.tank]
        self._imported = (*(one for one in self._imported if one.tank != asked.tank), *asked.works)
        # What has begun goes on; what was to come is planned anew.
        coming = _begins(before, now_us) - _begins(self._recurring, now_us)
        self.works = tuple(work for work in self.works if work not in coming)
        self._begun -= {_beginning(work) for work in coming}
        self.look_ahead(now_us)
        return Answer(request, True, f"{_count(len(asked.works))} planned from the file")

    def _cancel(self, request: str, asked: CancelWork, now_us: int) -> Answer:
        coming = [
            work
            for work in self.works
            if _is_of(work, asked) and work.from_us > now_us and asked.from_us in (None, work.from_us)
        ]
        if not coming:
            return Answer(request, False, f"no {_words(asked.kind)} is to come in {asked.tank}")
        self.works = tuple(work for work in self.works if work not in coming)
        return Answer(request, True, f"no longer planned in {asked.tank}: {_list(coming)}")


def _fields(work: PlannedWork) -> tuple[str, str, int, int]:
    return work.tank, work.kind, work.from_us, work.to_us


def _begins(recurring: Iterable[RecurringWork], now_us: int) -> set[PlannedWork]:
    """Works that begin within the next day, and have been planned for it."""
    return {work for one in recurring for work in one.between(now_us + 1, now_us + 2 * _DAY_US)}


def _count(number: int) -> str:
    return "1 work" if number == 1 else f"{number} works"


def _beginning(work: PlannedWork) -> tuple[str, str, int]:
    return work.tank, work.kind, work.from_us


def _is_one(work: PlannedWork, asked: BeginWork) -> bool:
    return _is_of(work, asked) and work.from_us <= asked.to_us and asked.from_us <= work.to_us


def _is_of(work: PlannedWork, asked: BeginWork | EndWork | CancelWork) -> bool:
    return work.tank == asked.tank and asked.kind in ("", work.kind)


def _words(kind: str) -> str:
    return kind.replace("_", " ") if kind else "planned work"


def _list(works: Iterable[PlannedWork]) -> str:
    return ", ".join(dict.fromkeys(_words(work.kind) for work in works))
