"""Faults that explain the same symptoms compete. Which one speaks, and who are its rivals?

Each fault is held on its own: its confidence must stay at `ON` for its on-delay, and below `OFF` for its
off-delay. Of the held ones that share a symptom only the surest speaks, and only what speaks is an
alarm. Who speaks already is overtaken only by one that is clearly surer, so that a name does not flutter.

A fault of the tank that has spoken for half a day has consequences: a leak empties the reservoir, then the
sump, and salinity comes to rest far from where it was. By then its own signs have left every look-back, and
those of what it did are fresh. So it keeps the word against probes and what began long after it, if that is
no more urgent, and does not end while such a thing is held. What was a rival early on may still prove right.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rules.alarm import NEVER
from rules.events import AlarmRaised, Priority, Rival
from rules.faults.fault import OFF, ON, Fault, Finding
from rules.setup import HOUR_US
from rules.trace import MINUTE_US

# How much surer another cause must be to take the word.
OVERTAKING = 0.15
# What is as sure as this names a limit that was crossed: the limit is evidence of its own.
NAMES = 0.4
# A cause less sure than this is no help to a half-asleep person.
LEAST_RIVAL = 0.3
# Above all that a finding can be.
CERTAIN = 2.0
# What a fault of the tank has brought about shows within this time, and a wrong name is mended by then.
LASTING_US = 12 * HOUR_US
# A condition is not held over a longer stretch in which it could not be known.
LONGEST_UNKNOWN_US = 15 * MINUTE_US


class Post:
    """One fault watching one subject: what it found, for how long, and whether it speaks.

    Attributes
    ----------
    fault, subjects, setting
        What is looked for, in which series (the first of them that is heard; it is filed under the very
        first), with which parameters.
    finding
        What it found at this step; None where it could not know.
    is_held
        Whether it has been on for its on-delay and not yet off for its off-delay.
    speaks
        Whether it is an alarm.
    since_us
        Since when it has been on.
    confidence, explains
        Of the last finding that it could make: a probe that misses a reading changes nobody's mind.
    told
        The priority with which it was last told; None where it was not.
    is_fading
        Whether it would have ended, were it not for what it may have brought about.
    """

    __slots__ = (
        "_known_us",
        "_off_us",
        "confidence",
        "explains",
        "fault",
        "finding",
        "is_fading",
        "is_held",
        "setting",
        "since_us",
        "speaks",
        "subjects",
        "told",
    )

    def __init__(self, fault: Fault, subjects: tuple[str, ...], setting: Mapping[str, float]) -> None:
        self.fault = fault
        self.subjects = subjects
        self.setting = setting
        self.confidence = 0.0
        self.explains: frozenset[str] = frozenset()
        self.told: Priority | None = None
        self.is_fading = False
        self.finding: Finding | None = None
        self.is_held = False
        self.speaks = False
        self.since_us = NEVER
        self._off_us = NEVER
        self._known_us = -NEVER

    @property
    def is_idle(self) -> bool:
        """Whether nothing is on, held or spoken."""
        return self.since_us == NEVER and not self.is_held and not self.speaks

    @property
    def strength(self) -> float:
        """How sure it is, with the advantage of who speaks."""
        return self.confidence + OVERTAKING if self.speaks else self.confidence

    def outlasts(self, other: Post) -> bool:
        """Whether it has spoken for so long that what another finds may be its doing."""
        return (
            self.speaks
            and not self.is_of_probe
            and self._known_us - self.since_us >= LASTING_US
            and (other.is_of_probe or other.since_us - self.since_us >= LASTING_US // 2)
            and other.is_held
            and other.priority.rank <= (self.told or self.fault.priority).rank
            and _share(self, other)
        )

    @property
    def may_speak(self) -> bool:
        """Whether it is held, and what it would begin to say is known now and still so."""
        return self.is_held and (self.speaks or (self.finding is not None and self.finding.confidence >= ON))

    def may_name(self, priority: Priority) -> bool:
        """Whether it is silent, sure enough for a limit that is crossed now, and no more urgent than that."""
        return (
            not self.speaks
            and self.finding is not None
            and self.finding.confidence >= NAMES
            and self.priority.rank <= priority.rank
        )

    @property
    def is_of_probe(self) -> bool:
        """Whether it is a fault of a probe, not of the tank."""
        return bool(self.fault.quantities)

    @property
    def priority(self) -> Priority:
        """How soon a person must act by what it found last."""
        own = None if self.finding is None else self.finding.priority
        return own or self.fault.priority

    def hold(self, end_us: int, finding: Finding) -> None:
        """Take the finding of a step that ends at `end_us`."""
        if end_us - self._known_us > LONGEST_UNKNOWN_US:
            self._off_us = NEVER
            if not self.speaks:
                self.release()
        self._known_us = end_us
        self.finding = finding
        self.confidence = finding.confidence
        if finding.explains:
            self.explains = finding.explains
        self.is_fading = False
        if finding.confidence >= ON:
            self._off_us = NEVER
            if self.since_us == NEVER:
                self.since_us = end_us
            if end_us - self.since_us >= self.setting["on_delay"]:
                self.is_held = True
        elif not self.is_held:
            self.since_us = NEVER
        elif finding.confidence >= OFF:
            self._off_us = NEVER
        else:
            self._off_us = min(self._off_us, end_us)
            if end_us - self._off_us >= self.setting["off_delay"]:
                self.is_fading = True

    def speak(self, at_us: int) -> None:
        """Be an alarm without waiting any longer, since `at_us` if not before."""
        self.is_held = self.speaks = True
        self.since_us = min(self.since_us, at_us)

    def suspend(self) -> None:
        """Neither begin nor end at this step, and void running delays: planned work suppresses it."""
        self.finding = None
        self._off_us = NEVER
        if not self.speaks:
            self.release()

    def release(self) -> None:
        """Forget what was held."""
        self.is_held = self.is_fading = False
        self.since_us = self._off_us = NEVER

    def adopt(self, raised: AlarmRaised | None) -> None:
        """Take over after a restart what it last told, or that it does not speak (None)."""
        self.speaks = raised is not None
        self.told = None
        if raised is not None:
            self.is_held = True
            self.since_us = raised.first_evidence_us
            self.told = raised.priority


def settle(posts: Sequence[Post]) -> list[tuple[Post, bool]]:
    """Decide who speaks; return the posts that begin (True) or cease to.

    Parameters
    ----------
    posts
        Those that are on, held or speaking, in a fixed order, which decides between equals.
    """
    strengths = [_strength_among(post, posts) for post in posts]
    speaking: list[Post] = []
    # The sort is stable: of equals the first in the list speaks.
    for _, post in sorted(zip(strengths, posts, strict=True), key=lambda one: -one[0]):
        if post.may_speak and not any(_share(post, other) for other in speaking):
            speaking.append(post)
    changed = [(post, post in speaking) for post in posts if post.speaks != (post in speaking)]
    for post, is_heard in changed:
        post.speaks = is_heard
        if not is_heard:
            post.told = None
    return changed


def _strength_among(post: Post, posts: Sequence[Post]) -> float:
    """How sure a post is beside the others; it ends if it is fading and outlasts none of them."""
    if any(other is not post and post.outlasts(other) for other in posts):
        return CERTAIN
    if post.is_fading:
        post.release()
    return post.strength


def explaining_posts(posts: Iterable[Post], symptom: str) -> list[Post]:
    """Those that explain a symptom now, what speaks and what is surer first."""
    found = [
        post
        for post in posts
        if post.finding is not None
        and post.finding.confidence >= LEAST_RIVAL
        and symptom in post.finding.explains
    ]
    return sorted(found, key=lambda post: -post.strength)


def rivals_among(posts: Sequence[Post]) -> tuple[Rival, ...]:
    """Posts that do not speak, as causes that what is told may have."""
    return tuple(Rival(post.fault.code, round(post.confidence, 3)) for post in posts if not post.speaks)


def rivals_of(post: Post, posts: Sequence[Post]) -> tuple[Rival, ...]:
    """Other causes of what a post explains, the surest first."""
    found = [
        Rival(other.fault.code, round(other.finding.confidence, 3))
        for other in posts
        if other is not post
        and _share(post, other)
        and other.finding is not None
        and other.finding.confidence >= LEAST_RIVAL
    ]
    return tuple(sorted(found, key=lambda rival: -rival.confidence))


def _share(post: Post, other: Post) -> bool:
    """Whether two posts explain a common symptom."""
    return not post.explains.isdisjoint(other.explains)
