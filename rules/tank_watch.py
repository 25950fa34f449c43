"""Everything that is watched of a tank as a whole: its faults, and what changes too fast.

A tank is looked at once a step, every five minutes, through the traces of its series; see `rules.trace`
for what a step sees. What this costs does not grow with the number of readings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from rules.alarm import BY_CLOCK, NEVER, DelayedAlarm
from rules.baseline import Baseline
from rules.contest import Post, rivals_of, settle
from rules.events import AlarmEvent, AlarmKey, AlarmRaised, AlarmReturned, Evidence
from rules.faults import FAULTS, Fault, Finding
from rules.faults.fault import ON
from rules.habits import UNKNOWN, Habits, habits_of
from rules.heat_model import HeatModel
from rules.hours import Hours
from rules.look import Look, TankLook
from rules.planned_work import UNDISTURBED_SIGNS, PlannedWork, Span, spans
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
# A slope is taken over the last hour; behind a longer gap it tells of another time.
_TREND_AGE_US = HOUR_US


class Judgement(NamedTuple):
    """What a fault found at one step, for who wants to follow the reasoning.

    `since_us` is since when it has been on, None where it is not; `is_held` says that its on-delay has
    passed, `speaks` that it is an alarm, and `is_suppressed` that planned work suppresses it by design.
    """

    at_us: int
    alarm: AlarmKey
    finding: Finding
    since_us: int | None
    is_held: bool
    speaks: bool
    is_suppressed: bool


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
        self._posts = tuple(self._posts_of(FAULTS.values()))
        self._looks: dict[str, Look] = {}
        self._listening_from_us: int | None = 0
        self._resettling = Resettling(self.members)
        self._hidden_us: dict[AlarmKey, int] = {}
        # How the tank takes and loses heat, where its history tells.
        self.heat: HeatModel | None = None
        # Called with each judgement that finds anything.
        self.on_judgement: Callable[[Judgement], object] | None = None

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
        known = spans(works)
        self._hidden_us = {
            key: at_us
            for key, at_us in self._hidden_us.items()
            if any(span.from_us < at_us < span.to_us + STEP_US for span in known)
        }

    @property
    def suppressed(self) -> Iterable[tuple[AlarmKey, int]]:
        """Alarms whose condition was seen during planned work, and when first."""
        yield from self._hidden_us.items()
        for member in self.members:
            if member.rate is not None and member.rate.hidden_us != NEVER:
                yield AlarmKey(self.rules.name, member.rules.name, "changing_fast"), member.rate.hidden_us

    @property
    def causes(self) -> Iterable[AlarmKey]:
        """Alarms that this tank can have beside those of its series."""
        for post in self._posts:
            yield self._key(post)
        for member in self.members:
            if member.rate is not None:
                yield AlarmKey(self.rules.name, member.rules.name, "changing_fast")

    def adopt(self, active: Mapping[AlarmKey, AlarmRaised]) -> None:
        """Take over which alarms were active before a restart, as last told; the others are normal."""
        for post in self._posts:
            post.adopt(active.get(self._key(post)))
        for member in self.members:
            raised = active.get(AlarmKey(self.rules.name, member.rules.name, "changing_fast"))
            if member.rate is not None and member.rate.is_active != (raised is not None):
                member.rate.force(raised is not None, 0 if raised is None else raised.first_evidence_us)

    @property
    def longest_delay_us(self) -> int:
        """How long an alarm of this tank may wait to begin or to end, at most."""
        faults = (round(post.setting["on_delay"] + post.setting["off_delay"]) for post in self._posts)
        rates = (
            alarm.window_us + alarm.on_delay_us + alarm.off_delay_us
            for member in self.members
            if (alarm := member.rules.rate_alarm) is not None
        )
        return max((*faults, *rates), default=0)

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
        self._looks = looks
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
        staged = self._judge_faults(tank)
        for member in self.members:
            alarm, look = member.rules.rate_alarm, looks.get(member.rules.name)
            if alarm is not None and member.rate is not None and look is not None:
                settled = self._resettling.look(look, alarm.window_us)
                staged += self._judge_rate(member, member.rate, settled)
        return staged

    def _note_suppressed(self, key: AlarmKey, finding: Finding | None, end_us: int) -> None:
        if finding is not None and finding.confidence >= ON:
            self._hidden_us.setdefault(key, end_us)

    def with_trend(self, event: AlarmRaised) -> AlarmRaised:
        """Add to an alarm of a limit what the newest step knows of its series."""
        look = self._looks.get(event.alarm.series)
        if look is None or event.at_us - look.end_us + look.age_us > _TREND_AGE_US:
            return event
        settled = self._resettling.look(look)
        return replace(event, evidence=with_trend_of(event.evidence, event.at_us, settled, None))

    # -- faults ------------------------------------------------------------------------------------

    def _posts_of(self, faults: Iterable[Fault]) -> Iterable[Post]:
        """Faults that this tank can have, each at its subjects, in the order of their list."""
        for fault in faults:
            if fault.equipment and fault.equipment.isdisjoint(self.rules.equipment):
                continue
            setting = {parameter.name: parameter.default for parameter in fault.parameters}
            setting.update(self.rules.faults.get(fault.code, {}))
            subjects = tuple(self._roles[role] for role in fault.roles if role in self._roles)
            if subjects:
                yield Post(fault, subjects, setting)
            for member in self.members:
                if member.rules.quantity in fault.quantities:
                    yield Post(fault, (member.rules.name,), setting)

    def _judge_faults(self, tank: TankLook) -> list[Staged]:
        busy: list[Post] = []
        found: list[tuple[Post, Finding, bool]] = []
        views = self._resettling.views(tank)
        for post in self._posts:
            seen, is_suppressed = views.of(post.fault.code) if views is not None else (tank, False)
            look = _subject(post, seen)
            finding = None
            if look is None:
                # Not heard for a day: silence is told of the probe, and nothing is left to tell of this.
                post.release()
            elif look.is_fresh or post.fault.hears_silence:
                finding = post.fault.judge(look, seen, post.setting)
            is_suppressed = is_suppressed and not _is_undisturbed(finding)
            if finding is not None and finding.confidence > 0.0:
                found.append((post, finding, is_suppressed))
            if is_suppressed:
                self._note_suppressed(self._key(post), finding, tank.end_us)
                post.suspend()
                continue
            if finding is None:
                post.finding = None
            elif finding.confidence > 0.0 or not post.is_idle:
                post.hold(tank.end_us, finding)
            if (finding is not None and finding.confidence > 0.0) or not post.is_idle:
                busy.append(post)
        changed = settle(busy) if busy else []
        if self.on_judgement is not None:
            for post, finding, is_suppressed in found:
                since_us = None if post.since_us == NEVER else post.since_us
                self.on_judgement(
                    Judgement(
                        tank.end_us,
                        self._key(post),
                        finding,
                        since_us,
                        post.is_held,
                        post.speaks,
                        is_suppressed,
                    )
                )
        changed += [(post, True) for post in busy if _is_worse(post)]
        return [
            self._stage_post(post, busy, tank if views is None else views.of(post.fault.code)[0], is_raised)
            for post, is_raised in changed
        ]

    def _stage_post(self, post: Post, busy: Sequence[Post], tank: TankLook, is_raised: bool) -> Staged:
        key = self._key(post)
        look = _subject(post, tank)
        event: AlarmEvent
        if is_raised and look is not None and post.finding is not None:
            finding = post.finding
            post.told = post.priority
            evidence = Evidence(
                value=finite(look.value),
                since_us=post.since_us,
                confidence=round(finding.confidence, 3),
                reasons=finding.reasons,
                rivals=rivals_of(post, busy),
            )
            event = AlarmRaised(
                at_us=tank.end_us,
                alarm=key,
                priority=post.priority,
                first_evidence_us=post.since_us,
                concerns=tuple(dict.fromkeys((look.name, *finding.concerns))),
                evidence=with_trend_of(evidence, tank.end_us, look, finding.projection),
            )
        else:
            event = AlarmReturned(tank.end_us, key, None if look is None else finite(look.value))
        return self._staged(key, event, tank.end_us)

    def _key(self, post: Post) -> AlarmKey:
        return AlarmKey(self.rules.name, post.subjects[0], post.fault.code)

    def _staged(self, key: AlarmKey, event: AlarmEvent, end_us: int) -> Staged:
        rank = RAISED if isinstance(event, AlarmRaised) else RETURNED_LAST
        return Staged(end_us, BY_CLOCK, end_us, rank, self._index[key.series], key.cause, event)

    # -- rates and silence -------------------------------------------------------------------------

    def _judge_rate(self, member: Member, delays: DelayedAlarm, look: Look) -> Iterable[Staged]:
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
                    with_trend_of(evidence, end_us, look, None),
                )
            else:
                event = AlarmReturned(end_us, key, finite(look.value))
            yield self._staged(key, event, end_us)

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


def _subject(post: Post, tank: TankLook) -> Look | None:
    """The first of a post's series that has been heard within a day."""
    for name in post.subjects:
        look = tank.series.get(name)
        if look is not None:
            return look
    return None


def _is_worse(post: Post) -> bool:
    """Whether what speaks already must now be told with a higher priority."""
    if not post.speaks or post.told is None or post.finding is None or post.finding.confidence < ON:
        return False
    return post.priority.rank > post.told.rank


def _is_undisturbed(finding: Finding | None) -> bool:
    """Whether a finding rests on what no work disturbs."""
    return finding is not None and any(
        reason.sign in UNDISTURBED_SIGNS and not reason.speaks_against for reason in finding.reasons
    )
