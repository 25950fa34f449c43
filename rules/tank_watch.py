"""Everything that is watched of a tank as a whole: how it looks, its faults, and what changes too fast.

A tank is looked at once a step, every five minutes, through the traces of its series; see `rules.trace`
for what a step sees. What this costs does not grow with the number of readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rules.alarm import BY_CLOCK, NEVER, DelayedAlarm
from rules.baseline import Baseline
from rules.events import AlarmEvent, AlarmKey, AlarmRaised, AlarmReturned, Evidence
from rules.fault_watch import FaultWatch
from rules.habits import UNKNOWN, Habits, habits_of
from rules.heat_model import HeatModel
from rules.hours import Hours
from rules.kept import Keeper
from rules.look import Look, TankLook
from rules.planned_work import PlannedWork, Span, Suppressed, spans
from rules.resettling import Resettling
from rules.roles import roles_of
from rules.setup import HOUR_US, SeriesRules, TankRules
from rules.staging import RAISED, RETURNED_LAST, Staged
from rules.trace import DAY_CELLS, HOUR_CELLS, MINUTE_US, STEP_US, Trace
from rules.trend import finite, with_trend_of

# Steps farther apart than this do not carry a running rate alarm from one to the next.
_RATE_GAP_US = HOUR_US
# A series without a gap limit is overdue after three of its intervals, and not before ten minutes.
_OVERDUE_INTERVALS = 3
_LEAST_OVERDUE_US = 10 * MINUTE_US


class Member:
    """One series of the tank: its index and rules, its trace, its habits and what is usual for it."""

    __slots__ = ("_hour", "_hours", "baseline", "habits", "index", "rate", "rules", "trace")

    def __init__(self, index: int, rules: SeriesRules, trace: Trace, baseline: Baseline | None) -> None:
        self.index = index
        self.rules = rules
        self.trace = trace
        self.baseline = baseline
        self.habits: Habits = UNKNOWN
        alarm = rules.rate_alarm
        self.rate = (
            None if alarm is None else DelayedAlarm(alarm.on_delay_us, alarm.off_delay_us, _RATE_GAP_US)
        )
        self._hour = -1
        self._hours: Hours | None = None

    def look(self, step: int) -> Look | None:
        """The series at a step; None if it has not been heard for a day."""
        trace = self.trace
        trace.advance(step)
        if step - trace.last_cell >= DAY_CELLS or trace.last_cell < 0:
            return None
        hour = step // HOUR_CELLS
        if hour != self._hour:
            self._hour = hour
            self.habits = habits_of(trace)
        if self._hours is None or not self._hours.is_of(step, self.baseline):
            self._hours = Hours(trace, step, self.baseline, self._hours)
        return Look(self.rules, trace, step, self.baseline, self.habits, self._hours)


class TankWatch:
    """The state of one tank.

    Parameters
    ----------
    rules
        What is known of the tank.
    members
        Its series.
    """

    def __init__(self, rules: TankRules, members: Sequence[Member]) -> None:
        self.rules = rules
        self.members = tuple(members)
        self._roles = roles_of(rules, [member.rules for member in members])
        self._index = {member.rules.name: member.index for member in members}
        self._listening_from_us: int | None = 0
        self._resettling = Resettling(self.members)
        self._watch = FaultWatch(
            rules, {member.index: member.rules for member in members}, self._roles, self._resettling
        )
        # Who speaks of them.
        self.faults = self._watch.panel
        # Keeps what is seen, where that is wanted.
        self.keeper: Keeper | None = None
        # How the tank takes and loses heat, where its history tells.
        self.heat: HeatModel | None = None

    # -- what comes in -----------------------------------------------------------------------------

    def listen_from(self, time_us: int | None) -> None:
        """Count silence from this instant on; None for nothing can be heard."""
        self._listening_from_us = time_us

    def plan_work(self, works: Iterable[PlannedWork]) -> None:
        """Suppress by design what these works on the tank disturb, instead of those told before."""
        works = tuple(works)
        self._resettling.plan_work(works)
        for member in self.members:
            if member.rate is not None:
                disturbing = spans(work for work in works if work.disturbs(member.rules.quantity))
                # The end of a step tells of the cell before it.
                member.rate.suppress(tuple(Span(one.from_us + 1, one.to_us + STEP_US) for one in disturbing))
        self.faults.keep_suppressed(works)

    @property
    def suppressed(self) -> Iterable[Suppressed]:
        """Alarms whose condition was seen during planned work."""
        yield from self.faults.suppressed
        for member in self.members:
            rate = member.rate
            if rate is not None and rate.hidden_us != NEVER:
                key = AlarmKey(self.rules.name, member.rules.name, "changing_fast")
                yield Suppressed(key, rate.hidden_us, rate.hidden_last_us, rate.hidden_to_us)

    @property
    def causes(self) -> Iterable[AlarmKey]:
        """Alarms that this tank can have beside those of its series."""
        yield from self.faults.keys
        for member in self.members:
            if member.rate is not None:
                yield AlarmKey(self.rules.name, member.rules.name, "changing_fast")

    def adopt(self, active: Mapping[AlarmKey, AlarmRaised]) -> None:
        """Take over which alarms were active before a restart, as last told; the others are normal."""
        self.faults.adopt(active)
        for member in self.members:
            raised = active.get(AlarmKey(self.rules.name, member.rules.name, "changing_fast"))
            if member.rate is not None and member.rate.is_active != (raised is not None):
                member.rate.force(raised is not None, 0 if raised is None else raised.first_evidence_us)

    @property
    def longest_delay_us(self) -> int:
        """How long an alarm of this tank may wait to begin or to end, at most."""
        rates = (
            alarm.window_us + alarm.on_delay_us + alarm.off_delay_us
            for member in self.members
            if (alarm := member.rules.rate_alarm) is not None
        )
        return max((self.faults.longest_delay_us, *rates))

    def next_step(self, step: int) -> int | None:
        """The first step from `step` on at which there is anything to do, None for none that is known."""
        if any(member.trace.last_cell > step - DAY_CELLS for member in self.members):
            return step
        waiting = [found for one in self.members if (found := one.trace.next_step()) is not None]
        return max(step, min(waiting)) if waiting else None

    def step(self, step: int, boards_offline: Mapping[str, tuple[tuple[str, ...], int]]) -> list[Staged]:
        """Look at the tank; return the alarm events that follow."""
        looks = {}
        for member in self.members:
            look = member.look(step)
            if look is not None:
                looks[member.rules.name] = look
        if not looks:
            return []
        end_us = (step + 1) * STEP_US
        tank = TankLook(
            self.rules,
            end_us,
            looks,
            self._roles,
            self._silent(end_us),
            boards_offline,
            self.heat,
            self._listening_from_us,
        )
        sights = self._watch.sights(tank)
        rates: list[Staged] = []
        for member in self.members:
            alarm, look = member.rules.rate_alarm, looks.get(member.rules.name)
            if alarm is not None and member.rate is not None and look is not None:
                settled = self._resettling.look(look, alarm.window_us)
                rates += self._judge_rate(member, member.rate, settled, tank)
        if self.keeper is not None:
            self.keeper.take_step(step, tank, sights, self._resettling.look)
            self.keeper.stage(rates)
        return [*self.faults.take(tank, sights), *rates]

    def _judge_rate(
        self, member: Member, delays: DelayedAlarm, look: Look, tank: TankLook
    ) -> Iterable[Staged]:
        alarm = member.rules.rate_alarm
        if alarm is None or not look.is_known:
            return
        minutes = alarm.window_us // MINUTE_US
        if delays.is_idle and look.span(minutes) * HOUR_CELLS <= alarm.per_hour:
            # A median slope beyond the limit needs a pair beyond it, and that is a cell apart at least.
            return
        size = abs(look.slope(minutes).median)
        if size != size or (delays.is_idle and size <= alarm.per_hour):
            return
        if not look.is_distinct(minutes):
            # A last digit that changes within a short window is no slope.
            size = 0.0
        end_us = look.end_us
        for change in delays.observe(
            end_us, BY_CLOCK, end_us, size > alarm.per_hour, size < alarm.per_hour, by_clock=False
        ):
            key = AlarmKey(self.rules.name, look.name, "changing_fast")
            event: AlarmEvent
            if change.is_raised:
                evidence = Evidence(value=finite(look.value), since_us=change.since_us)
                event = AlarmRaised(
                    end_us,
                    key,
                    alarm.priority,
                    change.since_us,
                    (look.name,),
                    with_trend_of(evidence, end_us, look, None, tank),
                )
            else:
                event = AlarmReturned(end_us, key, finite(look.value))
            rank = RAISED if change.is_raised else RETURNED_LAST
            yield Staged(end_us, BY_CLOCK, end_us, rank, self._index[look.name], key.cause, event)

    def _silent(self, end_us: int) -> dict[str, int]:
        """Since when series have been silent that are overdue; none while nothing can be heard."""
        found: dict[str, int] = {}
        if self._listening_from_us is None:
            return found
        for member in self.members:
            last_us = member.trace.last_us
            if not last_us or end_us - last_us < _LEAST_OVERDUE_US:
                continue
            gap = member.rules.gap
            intervals_us = _OVERDUE_INTERVALS * member.habits.interval_cells * STEP_US
            limit_us = (
                gap.fail_after_us
                if gap is not None
                else max(_LEAST_OVERDUE_US, intervals_us if intervals_us == intervals_us else 0)
            )
            if end_us - max(last_us, self._listening_from_us) > limit_us:
                found[member.rules.name] = last_us
        return found
