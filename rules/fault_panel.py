"""Who speaks of the faults of one tank: what each found is held, they compete, and alarms come of it.

A crossed limit is told together with the fault that explains it, so that the first ring has the right name.
Nothing here looks at a tank: it is told what each fault saw.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from rules.alarm import BY_CLOCK, NEVER
from rules.contest import Post, explaining_posts, rivals_among, rivals_of, settle
from rules.events import AlarmEvent, AlarmKey, AlarmRaised, AlarmReturned, Evidence
from rules.faults import Fault, Finding
from rules.faults.fault import NORMAL, ON
from rules.faults.probe import word_of
from rules.look import Look, TankLook
from rules.planned_work import UNDISTURBED_SIGNS, PlannedWork, Suppressed
from rules.setup import HOUR_US, SeriesRules, TankRules
from rules.staging import RAISED, RETURNED_LAST, Staged
from rules.trace import STEP_US
from rules.trend import finite, with_trend_of

# A slope is taken over the last hour; behind a longer gap it tells of another time.
_TREND_AGE_US = HOUR_US
# A probe fault as sure as this says that a reading is not of the water.
_NOT_OF_THE_WATER = 0.75


class Sight(NamedTuple):
    """What one fault sees at a step, where that is more than nothing.

    Parameters
    ----------
    look
        Its subject as it sees it, None where that was not heard for a day.
    finding
        None where it could not know.
    hidden_to_us
        Until when planned work suppresses the fault by design, None where none does.
    """

    look: Look | None
    finding: Finding | None
    hidden_to_us: int | None = None

    @property
    def is_finding(self) -> bool:
        """Whether there is anything in it that speaks for the fault."""
        return self.finding is not None and self.finding.confidence > 0.0

    @property
    def concerns_idle(self) -> bool:
        """Whether it makes a difference to a post that is not on, held or speaking."""
        return self.hidden_to_us is not None or (self.finding is not None and self.finding.confidence > 0.0)

    @property
    def is_suppressed(self) -> bool:
        """Whether planned work suppresses it, and it does not rest on what no work disturbs."""
        return self.hidden_to_us is not None and not _is_undisturbed(self.finding)


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


class FaultPanel:
    """The faults of one tank, each with what it found.

    Parameters
    ----------
    rules, series
        What is known of the tank and of its series, these by their place among all series.
    faults, roles
        Those that are looked for, and the names of the series that have a role.
    settled
        How a series is seen behind the works that disturbed it.
    """

    def __init__(
        self,
        rules: TankRules,
        series: Mapping[int, SeriesRules],
        faults: Iterable[Fault],
        roles: Mapping[str, str],
        settled: Callable[[Look], Look],
    ) -> None:
        self.rules = rules
        self._index = {one.name: index for index, one in series.items()}
        self.posts = tuple(_posts_of(faults, rules, tuple(series.values()), roles))
        self._settled = settled
        # The newest look, and which posts have found anything or have begun.
        self._seen: TankLook | None = None
        self._busy: list[Post] = []
        # Numbers of those that are on, held or speak.
        self._active: set[int] = set()
        self._hidden: dict[AlarmKey, Suppressed] = {}
        # Called with each judgement that finds anything.
        self.on_judgement: Callable[[Judgement], object] | None = None

    @property
    def is_active(self) -> bool:
        """Whether any of them is on, held or speaks."""
        return bool(self._active)

    @property
    def keys(self) -> Iterable[AlarmKey]:
        """Alarms that there can be."""
        return map(self._key, self.posts)

    @property
    def suppressed(self) -> Iterable[Suppressed]:
        """Alarms whose condition was seen during planned work."""
        return self._hidden.values()

    @property
    def longest_delay_us(self) -> int:
        """How long an alarm may wait to begin or to end, at most."""
        return max((round(p.setting["on_delay"] + p.setting["off_delay"]) for p in self.posts), default=0)

    def adopt(self, active: Mapping[AlarmKey, AlarmRaised]) -> None:
        """Take over which alarms were active before a restart, as last told; the others are normal."""
        for post in self.posts:
            post.adopt(active.get(self._key(post)))
        self._active = set(range(len(self.posts)))

    def keep_suppressed(self, works: Sequence[PlannedWork]) -> None:
        """Keep of what was suppressed that which lies within these works, as long as they last now."""
        self._hidden = {
            key: replace(one, to_us=_hidden_to_us(one, works))
            for key, one in self._hidden.items()
            if any(work.from_us < one.first_us < work.settled_us + STEP_US for work in works)
        }

    # -- steps -------------------------------------------------------------------------------------

    def take(self, tank: TankLook, sights: Mapping[int, Sight]) -> list[Staged]:
        """Take what was seen at a step, by the number of the post; return the alarm events that follow.

        Posts that are not named saw nothing (`NORMAL`).
        """
        self._seen = tank
        self._busy = busy = []
        numbers = self._active.union(n for n, sight in sights.items() if sight.concerns_idle)
        if not numbers:
            return []
        for number in sorted(numbers):
            post, sight = self.posts[number], sights.get(number)
            if sight is None:
                post.hold(tank.end_us, NORMAL)
            elif not self._hold(post, sight, tank.end_us):
                continue
            if (sight is not None and sight.is_finding) or not post.is_idle:
                busy.append(post)
        changed = settle(busy) if busy else []
        self._active = {number for number in numbers if not self.posts[number].is_idle}
        if self.on_judgement is not None:
            for number, sight in sorted(sights.items()):
                if sight.is_finding:
                    self.on_judgement(self._judgement(self.posts[number], sight, tank.end_us))
        changed += [(post, True) for post in busy if _is_worse(post)]
        if not changed:
            return []
        looks = {id(self.posts[number]): sight.look for number, sight in sights.items()}
        return [
            self._stage_post(
                post, busy, looks.get(id(post)) or subject_of(post, tank), tank.end_us, is_raised
            )
            for post, is_raised in changed
        ]

    def _hold(self, post: Post, sight: Sight, end_us: int) -> bool:
        """Let a post take what it saw; return whether it takes part in the contest."""
        finding = sight.finding
        if sight.look is None:
            # Not heard for a day: silence is told of the probe, and nothing is left to tell of this.
            post.release()
        if sight.hidden_to_us is not None and sight.is_suppressed:
            self._note_suppressed(self._key(post), finding, end_us, sight.hidden_to_us)
            post.suspend()
            return False
        if finding is None:
            post.finding = None
        elif finding.confidence > 0.0 or not post.is_idle:
            post.hold(end_us, finding)
        return True

    def _judgement(self, post: Post, sight: Sight, end_us: int) -> Judgement:
        return Judgement(
            end_us,
            self._key(post),
            sight.finding or NORMAL,
            None if post.since_us == NEVER else post.since_us,
            post.is_held,
            post.speaks,
            sight.is_suppressed,
        )

    def _stage_post(
        self, post: Post, busy: Sequence[Post], look: Look | None, end_us: int, is_raised: bool
    ) -> Staged:
        event: AlarmEvent
        if is_raised and look is not None and post.finding is not None:
            event = self._raised(post, busy, look, end_us)
        else:
            event = AlarmReturned(end_us, self._key(post), None if look is None else finite(look.value))
        return self._staged(event.alarm, event, end_us)

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
        subject = None if first is None else subject_of(first, tank)
        if first is not None and subject is not None and first.may_name(event.priority):
            first.speak(event.at_us)
            self._active.add(self.posts.index(first))
            found.append(self._raised(first, explaining, subject, event.at_us))
        if first is not None and first.speaks and first.is_of_probe and first.confidence >= _NOT_OF_THE_WATER:
            event = replace(event, priority=min(event.priority, first.priority, key=lambda one: one.rank))
        evidence = replace(event.evidence, rivals=rivals_among(explaining))
        settled = self._settled(look)
        found.append(replace(event, evidence=with_trend_of(evidence, event.at_us, settled, None, tank)))
        return found

    def _note_suppressed(self, key: AlarmKey, finding: Finding | None, end_us: int, to_us: int) -> None:
        if finding is not None and finding.confidence >= ON:
            first_us = self._hidden[key].first_us if key in self._hidden else end_us
            self._hidden[key] = Suppressed(key, first_us, end_us, to_us)

    def _staged(self, key: AlarmKey, event: AlarmEvent, end_us: int) -> Staged:
        rank = RAISED if isinstance(event, AlarmRaised) else RETURNED_LAST
        return Staged(end_us, BY_CLOCK, end_us, rank, self._index[key.series], key.cause, event)


def _posts_of(
    faults: Iterable[Fault], rules: TankRules, series: Sequence[SeriesRules], roles: Mapping[str, str]
) -> Iterable[Post]:
    """Faults that a tank can have, each at its subjects, in the order of their list."""
    for fault in faults:
        if fault.equipment and fault.equipment.isdisjoint(rules.equipment):
            continue
        setting = {parameter.name: parameter.default for parameter in fault.parameters}
        setting.update(rules.faults.get(fault.code, {}))
        subjects = tuple(roles[role] for role in fault.roles if role in roles)
        if subjects:
            yield Post(fault, subjects, setting)
        for one in series:
            if one.quantity in fault.quantities:
                yield Post(fault, (one.name,), setting)


def subject_of(post: Post, tank: TankLook) -> Look | None:
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
