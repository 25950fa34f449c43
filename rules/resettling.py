"""After planned work: the tank as a suppressed fault sees it again. What is left of the work?

What the work moved is left out of slopes, levels and habits, and what is usual is widened, never
shifted, by the offset that was found when the water had come to rest; the widening wears off over a
day. So a new level does not ring, and what goes on moving does. A day after the settle time nothing
of the work is left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np

from rules.baseline import Band, Baseline
from rules.blocks import FloatArray, IntArray
from rules.habits import Habits, habits_of
from rules.hours import Hours
from rules.look import Look, TankLook
from rules.planned_work import NEVER_SUPPRESSED, RESETTLE_US, PlannedWork
from rules.setup import SeriesRules
from rules.trace import HOUR_CELLS, NAN, STEP_US, Trace

Found = TypeVar("Found")

# The first cell that holds readings tells the offset; later than this it tells of something else.
_OFFSET_CELLS = 2 * HOUR_CELLS
_COLUMNS = frozenset({"medians", "noises", "smallest_steps"})


class MaskedTrace(Trace):
    """A trace, as it stands now, in which the cells of planned work and its settle time hold no readings.

    A column is copied when it is first asked for, without what has come since: most looks ask for one.
    """

    __slots__ = ("_source", "_works")

    def __init__(self, source: Trace, works: Sequence[PlannedWork]) -> None:
        self._source = source
        self._works = works
        self.step, self.last_cell = source.step, source.last_cell
        self.last_us, self.is_flat = source.last_us, source.is_flat

    def __getattr__(self, name: str) -> list[float]:
        # Called for a slot that holds nothing yet.
        if name not in _COLUMNS:
            raise AttributeError(name)
        source: list[float] = getattr(self._source, name)
        column = source[: len(source) - (self._source.step - self.step)]
        count = len(column)
        first = self.step + 1 - count
        for work in self._works:
            start = max(0, work.from_us // STEP_US - first)
            end = min(count, -(-work.settled_us // STEP_US) - first)
            if start < end:
                column[start:end] = [NAN] * (end - start)
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


_Asked = tuple[tuple[PlannedWork, ...], str, int]


class _OfHour(Generic[Found]):
    """What was found in the running hour, by what was asked."""

    __slots__ = ("_found", "_hour")

    def __init__(self) -> None:
        self._found: dict[_Asked, Found] = {}
        self._hour = -1

    def get(self, asked: _Asked, hour: int, find: Callable[[], Found]) -> Found:
        """What was found in this hour already, or what is found now."""
        if hour != self._hour:
            self._found.clear()
            self._hour = hour
        if asked not in self._found:
            self._found[asked] = find()
        return self._found[asked]

    def clear(self) -> None:
        """Forget what was found."""
        self._found.clear()


class Watched(Protocol):
    """What is needed of a series: its rules, its trace, and what is usual for it now."""

    rules: SeriesRules
    trace: Trace
    baseline: Baseline | None


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
        # What is asked once an hour of a series behind works, by these and its name, of the running hour.
        self._habits = _OfHour[Habits]()
        self._hours = _OfHour[Hours]()

    def plan_work(self, works: Iterable[PlannedWork]) -> None:
        """Know these works, instead of those told before."""
        self._works = tuple(sorted(works))
        self._habits.clear()
        self._hours.clear()

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
        return self.behind(look, works)

    def views(self, tank: TankLook) -> Views | None:
        """How each fault sees the tank at a step; None where no work is near, and all see it as it is."""
        works = self._near(tank.end_us)
        if not works:
            # Nothing is kept of works that are forgotten.
            self._habits.clear()
            self._hours.clear()
            return None
        if works != self._concerned.works:
            self._concerned = Concerned(works)
        return Views(self, tank, self._concerned)

    def behind(self, look: Look, works: Sequence[PlannedWork]) -> Look:
        """The series as it is seen behind those of the works that disturb it."""
        member = self._members[look.name]
        disturbing = tuple(work for work in works if work.disturbs(member.rules.quantity))
        if not disturbing:
            return look
        trace = MaskedTrace(member.trace, disturbing)
        step = trace.step
        usual = member.baseline
        baseline = None if usual is None else WidenedBaseline(usual, member.trace, disturbing)
        asked = (disturbing, look.name, id(usual))
        habits = self._habits.get(asked, step // HOUR_CELLS, lambda: habits_of(trace))
        hours = self._hours.get(asked, (step + 1) // HOUR_CELLS, lambda: Hours(trace, step, baseline))
        return Look(member.rules, trace, step, baseline, habits, hours)

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

    def _see(self, works: Sequence[PlannedWork]) -> tuple[TankLook, int | None]:
        tank = self._tank
        if not works:
            return tank, None
        running = [work.settled_us for work in works if _is_running(work, tank.end_us)]
        if running:
            return tank, max(running) + STEP_US
        series = {name: self._resettling.behind(look, works) for name, look in tank.series.items()}
        return tank.with_series(series), None


class Concerned:
    """Some works by the faults that they suppress: faults that the same works suppress are one group."""

    __slots__ = ("_group_of", "groups", "works")

    def __init__(self, works: tuple[PlannedWork, ...]) -> None:
        self.works = works
        self.groups: list[tuple[PlannedWork, ...]] = []
        self._group_of: dict[str, int] = {}

    def group_of(self, cause: str) -> int:
        """Place among `groups` of the works that suppress a fault."""
        if cause not in self._group_of:
            is_never = cause in NEVER_SUPPRESSED
            works = () if is_never else tuple(work for work in self.works if work.suppresses(cause))
            if works not in self.groups:
                self.groups.append(works)
            self._group_of[cause] = self.groups.index(works)
        return self._group_of[cause]


def _is_running(work: PlannedWork, end_us: int) -> bool:
    """Whether the newest cell of a step still lies within the work or its settle time."""
    return end_us - STEP_US < work.settled_us
