"""The faults of one tank: which are looked for, what each finds at a step, and which of them speak.

A crossed limit is told together with the fault that explains it, so that the first ring has the right name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from rules.alarm import BY_CLOCK, NEVER
from rules.contest import Post, explaining_posts, rivals_among, rivals_of, settle
from rules.events import AlarmEvent, AlarmKey, AlarmRaised, AlarmReturned, Evidence
from rules.faults import FAULTS, Fault, Finding
from rules.faults.fault import NORMAL, ON
from rules.faults.probe import word_of
from rules.look import Look, TankLook
from rules.planned_work import UNDISTURBED_SIGNS, PlannedWork, Suppressed
from rules.resettling import Resettling
from rules.setup import HOUR_US, SeriesRules, TankRules
from rules.staging import RAISED, RETURNED_LAST, Staged
from rules.trace import STEP_US
from rules.trend import finite, with_trend_of

# A slope is taken over the last hour; behind a longer gap it tells of another time.
_TREND_AGE_US = HOUR_US
# A probe fault as sure as this says that a reading is not of the water.
_NOT_OF_THE_WATER = 0.75


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


class FaultWatch:
    """The faults of one tank.

    Parameters
    ----------
    rules, series
        What is known of the tank and of its series, these by their place among all series.
    roles
        Names of the series that have a role.
    resettling
        How the tank is seen behind planned work.
    """

    def __init__(
        self,
        rules: TankRules,
        series: Mapping[int, SeriesRules],
        roles: Mapping[str, str],
        resettling: Resettling,
    ) -> None:
        self.rules = rules
        self._series = tuple(series.values())
        self._roles = roles
        self._index = {one.name: index for index, one in series.items()}
        self._posts = tuple(self._posts_of(FAULTS.values()))
        self._resettling = resettling
        # The newest look, and which posts have found anything or have begun.
        self._seen: TankLook | None = None
        self._busy: list[Post] = []
        self._hidden: dict[AlarmKey, Suppressed] = {}
        # Called with each judgement that finds anything.
        self.on_judgement: Callable[[Judgement], object] | None = None

    @property
    def keys(self) -> Iterable[AlarmKey]:
        """Alarms that there can be."""
        return map(self._key, self._posts)

    @property
    def suppressed(self) -> Iterable[Suppressed]:
        """Alarms whose condition was seen during planned work."""
        return self._hidden.values()

    @property
    def longest_delay_us(self) -> int:
        """How long an alarm may wait to begin or to end, at most."""
        return max((round(p.setting["on_delay"] + p.setting["off_delay"]) for p in self._posts), default=0)

    def adopt(self, active: Mapping[AlarmKey, AlarmRaised]) -> None:
        """Take over which alarms were active before a restart, as last told; the others are normal."""
        for post in self._posts:
            post.adopt(active.get(self._key(post)))

    def keep_suppressed(self, works: Sequence[PlannedWork]) -> None:
        """Keep of what was suppressed that which lies within these works, as long as they last now."""
        self._hidden = {
            key: replace(one, to_us=_hidden_to_us(one, works))
            for key, one in self._hidden.items()
            if any(work.from_us < one.first_us < work.settled_us + STEP_US for work in works)
        }

    # -- steps -------------------------------------------------------------------------------------

    def judge(self, tank: TankLook) -> list[Staged]:
        """Look for every fault; return the alarm events that follow."""
        self._seen = tank
        self._busy = busy = []
        found: list[tuple[Post, Finding, bool]] = []
        views = self._resettling.views(tank)
        for post in self._posts:
            seen, hidden_to_us = views.of(post.fault.code) if views is not None else (tank, None)
            look = _subject(post, seen)
            finding = None
            if look is None:
                # Not heard for a day: silence is told of the probe, and nothing is left to tell of this.
                post.release()
            elif look.is_fresh or post.fault.hears_silence:
                finding = post.fault.judge(look, seen, post.setting)
            is_suppressed = hidden_to_us is not None and not _is_undisturbed(finding)
            if finding is not None and finding.confidence > 0.0:
                found.append((post, finding, is_suppressed))
            if hidden_to_us is not None and is_suppressed:
                self._note_suppressed(self._key(post), finding, tank.end_us, hidden_to_us)
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
        look = _subject(post, tank)
        event: AlarmEvent
        if is_raised and look is not None and post.finding is not None:
            event = self._raised(post, busy, look, tank.end_us)
        else:
            event = AlarmReturned(tank.end_us, self._key(post), None if look is None else finite(look.value))
        return self._staged(event.alarm, event, tank.end_us)

    def _raised(self, post: Post, busy: Sequence[Post], look: Look, at_us: int) -> AlarmRaised:
        post.told = post.priority
        finding = post.finding or NORMAL
        evidence = Evidence(
            value=finite(look.value),
            since_us=post.since_us,
            confidence=round(finding.confidence, 3),
            reasons=finding.reasons,
            rivals=rivals_of(post, busy),
        )
        return AlarmRaised(
            at_us=at_us,
            alarm=self._key(post),
            priority=post.priority,
            first_evidence_us=post.since_us,
            concerns=tuple(dict.fromkeys((look.name, *finding.concerns))),
            evidence=with_trend_of(evidence, at_us, look, finding.projection, self._seen),
        )

    def _key(self, post: Post) -> AlarmKey:
        return AlarmKey(self.rules.name, post.subjects[0], post.fault.code)

    def on_limit(self, event: AlarmRaised) -> Iterable[AlarmRaised]:
        """Say what the newest step knows of a limit that was crossed: its trend, and which faults explain it.

        A limit has waited long enough for a fault that explains it and is as urgent at most: that speaks now,
        before the limit does. Where it says that the probe is not in the water, the limit is no more urgent
        than the probe.
        """
        tank, name = self._seen, event.alarm.series
        look = None if tank is None else tank.series.get(name)
        if tank is None or look is None or event.at_us - look.end_us + look.age_us > _TREND_AGE_US:
            return (event,)
        side = "high" if event.alarm.cause.startswith("over") else "low"
        explaining = explaining_posts(self._busy, f"{word_of(look, tank)}_{side}")
        found = []
        first = explaining[0] if explaining else None
        subject = None if first is None else _subject(first, tank)
        if first is not None and subject is not None and first.may_name(event.priority):
            first.speak(event.at_us)
            found.append(self._raised(first, explaining, subject, event.at_us))
        if first is not None and first.speaks and first.is_of_probe and first.confidence >= _NOT_OF_THE_WATER:
            event = replace(event, priority=min(event.priority, first.priority, key=lambda one: one.rank))
        evidence = replace(event.evidence, rivals=rivals_among(explaining))
        settled = self._resettling.look(look)
        found.append(replace(event, evidence=with_trend_of(evidence, event.at_us, settled, None, tank)))
        return found

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
            for one in self._series:
                if one.quantity in fault.quantities:
                    yield Post(fault, (one.name,), setting)

    def _note_suppressed(self, key: AlarmKey, finding: Finding | None, end_us: int, to_us: int) -> None:
        if finding is not None and finding.confidence >= ON:
            first_us = self._hidden[key].first_us if key in self._hidden else end_us
            self._hidden[key] = Suppressed(key, first_us, end_us, to_us)

    def _staged(self, key: AlarmKey, event: AlarmEvent, end_us: int) -> Staged:
        rank = RAISED if isinstance(event, AlarmRaised) else RETURNED_LAST
        return Staged(end_us, BY_CLOCK, end_us, rank, self._index[key.series], key.cause, event)


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


def _hidden_to_us(one: Suppressed, works: Iterable[PlannedWork]) -> int:
    """Until when works that last so long suppress what was seen last; that very instant if none does."""
    ends_us = (
        work.settled_us + STEP_US
        for work in works
        if work.suppresses(one.alarm.cause) and work.from_us < one.last_us < work.settled_us + STEP_US
    )
    return max(ends_us, default=one.last_us)


def _is_undisturbed(finding: Finding | None) -> bool:
    """Whether a finding rests on what no work disturbs."""
    return finding is not None and any(
        reason.sign in UNDISTURBED_SIGNS and not reason.speaks_against for reason in finding.reasons
    )
