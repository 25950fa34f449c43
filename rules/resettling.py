"""After planned work: the tank as a suppressed fault sees it again. What is left of the work?

What the work moved is left out of slopes, levels and habits, and what is usual is widened, never
shifted, by the offset that was found when the water had come to rest; the widening wears off over a
day. So a new level does not ring, and what goes on moving does. A day after the settle time nothing
of the work is left.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from rules.baseline import Band, Baseline
from rules.blocks import FloatArray, IntArray
from rules.habits import Habits, habits_of
from rules.hours import Hours
from rules.look import Look, TankLook
from rules.planned_work import NEVER_SUPPRESSED, RESETTLE_US, PlannedWork
from rules.setup import SeriesRules
from rules.trace import HOUR_CELLS, NAN, STEP_US, Trace

# The first cell that holds readings tells the offset; later than this it tells of something else.
_OFFSET_CELLS = 2 * HOUR_CELLS
_COLUMNS = frozenset({"medians", "noises", "smallest_steps"})


class MaskedTrace(Trace):
    """A trace, as it stands now, in which the cells of planned work and its settle time hold no readings.

    A column is copied when it is first asked for, without what has come since: most looks ask for one.

    Parameters
    ----------
    source
        The trace.
    hidden
        First cell of each stretch that is left out, and the one behind its last.
    """

    __slots__ = ("_hidden", "_source")

    def __init__(self, source: Trace, hidden: Sequence[tuple[int, int]]) -> None:
        self._source = source
        self._hidden = hidden
        self.step, self.last_cell = source.step, source.last_cell
        self.last_us, self.is_flat = source.last_us, source.is_flat

    def __getattr__(self, name: str) -> array[float]:
        # Called for a slot that holds nothing yet.
        if name not in _COLUMNS:
            raise AttributeError(name)
        source: array[float] = getattr(self._source, name)
        column = source[: len(source) - (self._source.step - self.step)]
        count = len(column)
        first = self.step + 1 - count
        for from_cell, to_cell in self._hidden:
            start, end = max(0, from_cell - first), min(count, to_cell - first)
            if start < end:
                column[start:end] = array("d", (NAN,)) * (end - start)
        setattr(self, name, column)
        return column


@dataclass(frozen=True, slots=True)
class Widening:
    """How far the usual band is widened on either side from an instant on; it wears off over a day."""

    from_us: int
    low: float
    high: float

    def share_at(self, time_us: int) -> float:
        """How much of it is left, 1 at its beginning and 0 a day later."""
        if time_us < self.from_us:
            return 0.0
        return max(0.0, 1.0 - (time_us - self.from_us) / RESETTLE_US)


class WidenedBaseline:
    """A baseline behind planned work: its band is widened by what was found as the water settled.

    Of several widenings the greater counts. They are a pure function of the trace, so a restart finds
    the same, and they are looked for when the first band is asked for.
    """

    __slots__ = ("_inner", "_trace", "_widenings", "_works")

    def __init__(self, inner: Baseline, trace: Trace, works: Sequence[PlannedWork]) -> None:
        self._inner = inner
        self._trace = trace
        self._works = works
        self._widenings: tuple[Widening, ...] | None = None

    def band_at(self, time_us: int) -> Band:
        """Return the widened band at an instant."""
        band = self._inner.band_at(time_us)
        if self._widenings is None:
            found = [_widening(self._trace, self._inner, work) for work in self._works]
            self._widenings = tuple(one for one in found if one is not None)
        if not self._widenings:
            return band
        low, centre, high = band
        return Band(
            low - max(one.low * one.share_at(time_us) for one in self._widenings),
            centre,
            high + max(one.high * one.share_at(time_us) for one in self._widenings),
        )

    def expect(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the widened band's edges at instants; see `Baseline`."""
        bands = [self.band_at(int(time_us)) for time_us in times_us]
        return np.array([band.low for band in bands]), np.array([band.high for band in bands])


def _widening(trace: Trace, baseline: Baseline, work: PlannedWork) -> Widening | None:
    """How far outside the usual the first readings behind the settle time lie; None within it."""
    first = trace.step + 1 - len(trace.medians)
    start = max(0, -(-work.settled_us // STEP_US) - first)
    for place in range(start, min(start + _OFFSET_CELLS, len(trace.medians))):
        value = trace.medians[place]
        if value == value:
            at_us = (first + place) * STEP_US + STEP_US // 2
            band = baseline.band_at(at_us)
            low, high = max(0.0, band.low - value), max(0.0, value - band.high)
            return Widening(work.settled_us, low, high) if low or high else None
    return None


class Watched(Protocol):
    """What is needed of a series: its rules, its trace, and what is usual for it now."""

    rules: SeriesRules
    trace: Trace
    baseline: Baseline | None


class _Behind:
    """One series behind works that disturb it, and what was asked of that in the running hour."""

    __slots__ = ("_baseline", "_habits", "_hidden", "_hour", "_hours", "_member", "_works")

    def __init__(self, member: Watched, works: tuple[PlannedWork, ...]) -> None:
        self._member = member
        self._works = works
        self._hidden = [(work.from_us // STEP_US, -(-work.settled_us // STEP_US)) for work in works]
        self._baseline: Baseline | None = None
        # The hour of the habits.
        self._hour = -1
        self._habits: Habits | None = None
        self._hours: Hours | None = None

    def look(self) -> Look:
        """How it looks now."""
        member = self._member
        trace = MaskedTrace(member.trace, self._hidden)
        step, usual = trace.step, member.baseline
        baseline = None if usual is None else WidenedBaseline(usual, member.trace, self._works)
        hour = step // HOUR_CELLS
        if self._habits is None or self._hour != hour or usual is not self._baseline:
            self._habits = habits_of(trace)
        if self._hours is None or self._hours.hour != (step + 1) // HOUR_CELLS or usual is not self._baseline:
            self._hours = Hours(trace, step, baseline)
        self._hour, self._baseline = hour, usual
        return Look(member.rules, trace, step, baseline, self._habits, self._hours)


class Resettling:
    """The planned works of a tank, and its looks as they are behind them.

    Parameters
    ----------
    members
        The series of the tank.
    """

    def __init__(self, members: Iterable[Watched]) -> None:
        self._members = {member.rules.name: member for member in members}
        self._works: tuple[PlannedWork, ...] = ()
        self._concerned = Concerned(())
        # Series behind works that disturb them, by these and their names; and by works of any kind.
        self._behind: dict[tuple[tuple[PlannedWork, ...], str], _Behind] = {}
        self._of_works: dict[tuple[PlannedWork, ...], dict[str, _Behind]] = {}

    def plan_work(self, works: Iterable[PlannedWork]) -> None:
        """Know these works, instead of those told before."""
        self._works = tuple(sorted(works))
        self._forget()

    def look(self, look: Look, window_us: int = RESETTLE_US) -> Look:
        """The series as it is seen again behind the works that disturbed it.

        Who looks back no farther than `window_us` need not mind works that were over before.
        """
        if not self._works:
            return look
        works = tuple(
            work
            for work in self._near(look.end_us)
            if not _is_running(work, look.end_us) and work.settled_us > look.end_us - window_us - STEP_US
        )
        return self.behind([look], works)[look.name]

    def views(self, tank: TankLook) -> Views | None:
        """How each fault sees the tank at a step; None where no work is near, and all see it as it is."""
        works = self._near(tank.end_us)
        if not works:
            # Nothing is kept of works that are forgotten.
            self._forget()
            return None
        if works != self._concerned.works:
            self._concerned = Concerned(works)
            self._of_works.clear()
            self._behind = {key: one for key, one in self._behind.items() if set(works).issuperset(key[0])}
        return Views(self, tank, self._concerned)

    def behind(self, looks: Iterable[Look], works: tuple[PlannedWork, ...]) -> dict[str, Look]:
        """Series, by name, as they are seen behind those of the works that disturb them."""
        behind = self._of_works.get(works)
        if behind is None:
            behind = self._of_works[works] = dict(self._disturbed(works))
        return {look.name: behind[look.name].look() if look.name in behind else look for look in looks}

    def _disturbed(self, works: Iterable[PlannedWork]) -> Iterable[tuple[str, _Behind]]:
        for name, member in self._members.items():
            disturbing = tuple(work for work in works if work.disturbs(member.rules.quantity))
            if disturbing:
                key = disturbing, name
                if key not in self._behind:
                    self._behind[key] = _Behind(member, disturbing)
                yield name, self._behind[key]

    def _forget(self) -> None:
        self._behind.clear()
        self._of_works.clear()

    def _near(self, end_us: int) -> tuple[PlannedWork, ...]:
        """Works that have begun by a step and are not forgotten, in order."""
        if not self._works:
            return ()
        return tuple(
            work for work in self._works if work.from_us < end_us and end_us - STEP_US < work.forgotten_us
        )


class Views:
    """A tank at one step that lies near planned work, as each fault sees it.

    Parameters
    ----------
    resettling, tank
        How the tank is seen behind works, and as it is.
    concerned
        Which works concern each fault.
    """

    def __init__(self, resettling: Resettling, tank: TankLook, concerned: Concerned) -> None:
        self._resettling = resettling
        self._tank = tank
        self._concerned = concerned
        self._seen: dict[int, tuple[TankLook, int | None]] = {}

    def of(self, cause: str) -> tuple[TankLook, int | None]:
        """The tank as a fault of that cause sees it, and until when it is suppressed, None if it is not."""
        group = self._concerned.group_of(cause)
        found = self._seen.get(group)
        if found is None:
            found = self._seen[group] = self._see(self._concerned.groups[group])
        return found

    def _see(self, works: tuple[PlannedWork, ...]) -> tuple[TankLook, int | None]:
        tank = self._tank
        if not works:
            return tank, None
        running = [work.settled_us for work in works if _is_running(work, tank.end_us)]
        if running:
            return tank, max(running) + STEP_US
        return tank.with_series(self._resettling.behind(tank.series.values(), works)), None


class Concerned:
    """Some works by the faults that they suppress: faults that the same works suppress are one group."""

    __slots__ = ("_group_of", "groups", "works")

    def __init__(self, works: tuple[PlannedWork, ...]) -> None:
        self.works = works
        self.groups: list[tuple[PlannedWork, ...]] = []
        self._group_of: dict[str, int] = {}

    def group_of(self, cause: str) -> int:
        """Place among `groups` of the works that suppress a fault."""
        group = self._group_of.get(cause)
        if group is None:
            is_never = cause in NEVER_SUPPRESSED
            works = () if is_never else tuple(work for work in self.works if work.suppresses(cause))
            if works not in self.groups:
                self.groups.append(works)
            group = self._group_of[cause] = self.groups.index(works)
        return group


def _is_running(work: PlannedWork, end_us: int) -> bool:
    """Whether the newest cell of a step still lies within the work or its settle time."""
    return end_us - STEP_US < work.settled_us
