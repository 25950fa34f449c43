"""The desk at which alarms arrive and from which people are told.

It hears what the engine says, what people answer, and how time passes, and keeps one `Thread` an incident.
An incident rings when it opens; what joins it later rings only if it makes things worse, and is otherwise
taken for seen by whoever has seen the incident. So an alarm that is active and unacknowledged always has
a ring that goes on, and one that goes on always has a next step, until everybody has been told in vain.

Everything that comes of it waits in the desk until it is drained into a commit; what is due follows from
what is recorded, so a kill loses no step and repeats none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from collector.alarm_record import LifeChange, RingTest, ThreadRecord, Withdrawal
from collector.configuration import Configuration
from collector.links import Links
from collector.messages import NewMessage
from collector.telling.comes_and_goes import first_step_us
from collector.telling.ladder import Progress, advance
from collector.telling.letters import RINGS, zone_of
from collector.telling.lives import Lives
from collector.telling.mail import Mail
from collector.telling.pace import PACES, Pace
from collector.telling.people import Person
from collector.telling.ring_tests import RingTests
from collector.telling.thread import Thread
from rules import (
    HOUR_US,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    AlarmState,
    AlarmStep,
    Event,
    Hold,
    Incident,
    IncidentEnded,
    IncidentEvent,
    IncidentUpdated,
    Priority,
)

# Ended and seen: remembered only to know what comes and goes. Not seen: until nobody asks any more.
_SEEN_KEPT_US = HOUR_US
_UNSEEN_KEPT_US = 30 * 24 * HOUR_US
# Who has been told so many names of one incident looks at the list.
MOST_NAMES = 3
_LONGEST_NIGHT_US = 26 * HOUR_US
_UNACKNOWLEDGED = AlarmState.UNACKNOWLEDGED
_LATCHED = (AlarmState.LATCHED, AlarmState.LATCHED_UNACKNOWLEDGED)


class Changes(NamedTuple):
    """What is to be recorded and sent, in one commit."""

    messages: tuple[NewMessage, ...]
    withdrawals: tuple[Withdrawal, ...]
    lives: tuple[LifeChange, ...]
    threads: tuple[ThreadRecord, ...]
    test_rings: tuple[RingTest, ...]


class Desk:
    """See the module.

    Parameters
    ----------
    configuration
        Names, zones and words.
    people
        Those who can be told, in their order.
    lives, threads, incidents
        As recorded; the incidents are those of the threads.
    test_rings
        Knows when a test is due.
    links
        By which messages can be answered from a phone, if at all.
    """

    def __init__(
        self,
        configuration: Configuration,
        people: Sequence[Person],
        lives: Lives,
        threads: Iterable[Thread] = (),
        incidents: Iterable[Incident] = (),
        test_rings: RingTests | None = None,
        links: Links | None = None,
    ) -> None:
        self._configuration = configuration
        self.people = tuple(people)
        self.lives = lives
        self.threads = {one.incident: one for one in threads}
        self.incidents = {one.number: one for one in incidents}
        self._incident_of = {
            alarm: number for number in sorted(self.incidents) for alarm in self.incidents[number].alarms
        }
        self.test_rings = test_rings or RingTests((), "never", 0, 0, "UTC", 0)
        telling = configuration.telling
        self._paces: Mapping[Priority, Pace] = {
            **PACES,
            Priority.URGENT: Pace(telling.repeat_us, telling.rings, telling.next_us, telling.rounds),
        }
        self.mail = Mail(configuration, links)
        self._changed: dict[int, None] = {}

    # -- what comes in -----------------------------------------------------------------------------

    def hear(self, events: Sequence[Event], now_us: int) -> None:
        """Take what the engine says, in its order; each alarm's event comes before what it means."""
        self._expire(now_us)
        raised: AlarmRaised | None = None
        for event in events:
            if isinstance(event, AlarmRaised):
                self.lives.step(event.alarm, AlarmStep.RAISE, event.at_us)
                raised = event
            elif isinstance(event, AlarmReturned):
                self.lives.step(event.alarm, AlarmStep.RETURN, event.at_us)
                raised = None
                self._stop_if_seen(event.alarm, now_us)
            elif isinstance(event, IncidentEnded):
                self._end(event, now_us)
            else:
                self._follow(event, None if raised is None else raised.alarm, now_us)

    def turn(self, now_us: int) -> None:
        """Take every step that is due."""
        self._expire(now_us)
        mornings: dict[str, list[Thread]] = {}
        due = [one for one in self.threads.values() if self._is_due(one, now_us)]
        for thread in sorted(due, key=lambda one: (-one.priority.rank, one.incident)):
            step, progress = advance(
                thread.progress,
                thread.priority,
                self.people,
                self._paces,
                self.zone(self.incidents[thread.incident].tank),
                now_us,
            )
            told = thread.told
            if step is not None:
                if step.person.name not in told:
                    told = (*told, step.person.name)
                if thread.progress.waits:
                    mornings.setdefault(step.person.name, []).append(thread)
                else:
                    self.mail.ring(thread, self.incidents[thread.incident], step, now_us)
            if thread.ended_us is not None:
                progress = replace(progress, next_us=None)
            self.keep(replace(thread, progress=progress, told=told))
        for name, threads in mornings.items():
            person = next(one for one in self.people if one.name == name)
            self.mail.tell_in_the_morning(person, threads, self.incidents, now_us)
        self.mail.add(self.test_rings.turn(self.people, now_us))

    def suppress(self, alarms: Iterable[AlarmKey], now_us: int) -> None:
        """Know which alarms planned work suppresses by design now; what is wrong behind it rings."""
        released = self.lives.suppress(alarms, now_us)
        for number in self.numbers_of(released):
            self.settle(number, now_us)

    @property
    def wakes_us(self) -> int | None:
        """When `turn` has something to do; None if only an event or a person changes that."""
        wakes = [one.progress.next_us for one in self.threads.values()]
        wakes += [self.lives.wakes_us, self.test_rings.wakes_us(self.people)]
        return min((one for one in wakes if one is not None), default=None)

    def drain(self, now_us: int) -> Changes:
        """Give up what is to be recorded and sent."""
        for number, thread in self.threads.items():
            if self._is_over(thread, now_us):
                self._changed[number] = None
        records = []
        for number in self._changed:
            thread, is_latched = self.threads[number], self._is_latched(number)
            is_over = self._is_over(thread, now_us)
            records.append(thread.record(is_latched=is_latched, is_over=is_over))
            if is_over:
                del self.threads[number], self.incidents[number]
        self._changed = {}
        messages, withdrawals = self.mail.drain()
        return Changes(messages, withdrawals, self.lives.drain(), tuple(records), self.test_rings.drain())

    # -- incidents ---------------------------------------------------------------------------------

    def _follow(self, event: IncidentEvent, alarm: AlarmKey | None, now_us: int) -> None:
        """An incident has opened, or something has joined it."""
        incident = event.incident
        number = incident.number
        before = self.incidents.get(number, incident)
        self.incidents[number] = incident
        thread = self.threads.get(number) or Thread(number, alarm or incident.alarms[0], incident.priority)
        if alarm is not None:
            # One that was latched as part of an incident that is over is part of this one now.
            self.record_anew(self.numbers_of([alarm]))
            self._incident_of[alarm] = number
        is_worse = isinstance(event, IncidentUpdated) and event.worsened
        is_worse = is_worse or thread.is_nearer(incident.evidence.danger_at_us, now_us)
        if is_worse:
            self._take_for_unseen(incident, alarm, now_us)
        elif alarm is not None and thread.answer:
            self._take_for_seen(alarm, thread, now_us)
        self.keep(thread)
        if is_worse and self.is_unacknowledged(number):
            self.begin(number, "worsened" if thread.told else thread.kind, now_us)
        else:
            self.settle(number, now_us)
            if incident.cause != before.cause:
                self._rename(incident, now_us)

    def _rename(self, incident: Incident, now_us: int) -> None:
        """Tell quietly that another cause is likelier now; a ring that goes on says so by itself."""
        thread = self.threads[incident.number]
        if thread.progress.next_us is not None or thread.renamed >= MOST_NAMES:
            return
        self.keep(replace(thread, renamed=thread.renamed + 1))
        self.mail.tell_quietly(self._told(thread), incident, "renamed", now_us)

    def _take_for_seen(self, alarm: AlarmKey, thread: Thread, now_us: int) -> None:
        """What joins an incident without making it worse is covered by its answer."""
        why = f"joined incident {thread.incident}"
        if thread.answer == AlarmState.ACKNOWLEDGED.value:
            self.lives.step(alarm, AlarmStep.ACKNOWLEDGE, now_us, thread.who, why)
        elif thread.answer == AlarmState.SHELVED.value and (thread.until_us or 0) > now_us:
            self.lives.hold(alarm, Hold(AlarmState.SHELVED, now_us, thread.until_us, thread.who, why))

    def _take_for_unseen(self, incident: Incident, alarm: AlarmKey | None, now_us: int) -> None:
        """What makes an incident worse is told although somebody has seen it, or put it off."""
        for one in incident.alarms if alarm is None else (alarm,):
            if self.lives[one].is_active:
                self.lives.release(one, AlarmState.SHELVED, now_us, why="it got worse")
                self.lives.step(one, AlarmStep.REALARM, now_us, why="it got worse")

    def _end(self, event: IncidentEnded, now_us: int) -> None:
        incident = event.incident
        self.incidents[incident.number] = incident
        thread = self.threads.get(incident.number) or Thread(
            incident.number, incident.alarms[0], incident.priority
        )
        waits = thread.progress.waits and not thread.told
        progress = thread.progress if waits else replace(thread.progress, next_us=None, waits=False)
        self.keep(replace(thread, ended_us=incident.ended_at_us, progress=progress))
        self.mail.withdraw(incident.number, ("again", "next", "renamed"))
        self.mail.tell_quietly(self._told(thread), incident, "ended", now_us)

    def _told(self, thread: Thread) -> list[Person]:
        return [one for one in self.people if one.name in thread.told]

    def _stop_if_seen(self, alarm: AlarmKey, now_us: int) -> None:
        number = self._incident_of.get(alarm)
        if number is not None and number in self.threads and self.threads[number].is_ringing:
            standing = [one for one in self.incidents[number].alarms if self.lives[one].is_active]
            if standing:
                self.settle(number, now_us)

    def _expire(self, now_us: int) -> None:
        """Let shelvings end; what is still wrong then rings again."""
        wakes_us = self.lives.wakes_us
        if wakes_us is not None and wakes_us <= now_us:
            self.lives.expire(now_us)
            for number in list(self.threads):
                self.settle(number, now_us)

    # -- threads -----------------------------------------------------------------------------------

    def is_unacknowledged(self, number: int) -> bool:
        """Whether an alarm of an incident is active, in nobody's hands, and not held."""
        alarms = self.incidents[number].alarms
        return any(self.is_latest(one, number) and self.lives[one].state is _UNACKNOWLEDGED for one in alarms)

    def is_latest(self, alarm: AlarmKey, number: int) -> bool:
        """Whether an alarm belongs to this incident, and to no later one."""
        return self._incident_of.get(alarm) == number

    def numbers_of(self, alarms: Iterable[AlarmKey]) -> list[int]:
        """Incidents that are told of and that these alarms belong to."""
        found = {self._incident_of[one] for one in alarms if one in self._incident_of}
        return sorted(found & self.threads.keys())

    def record_anew(self, numbers: Iterable[int]) -> None:
        """Record how these incidents stand: an alarm of theirs is latched no more."""
        self._changed |= dict.fromkeys(numbers)

    def settle(self, number: int, now_us: int, who: str = "", kind: str = "back") -> None:
        """Begin to ring for what nobody has seen, or stop where everything has been seen or is held."""
        thread = self.threads[number]
        if thread.ended_us is not None:
            return
        if self.is_unacknowledged(number):
            if not thread.is_ringing:
                self.begin(number, kind if thread.told else "opened", now_us)
            return
        states = [self.lives[one] for one in self.incidents[number].alarms if self.lives[one].is_active]
        seen = [life for life in states if not life.holds]
        answer, until_us = AlarmState.ACKNOWLEDGED.value, None
        if not seen and states:
            answer = states[0].state.value
            holds = [hold for life in states for hold in life.holds]
            until_us = min((one.until_us for one in holds if one.until_us is not None), default=None)
            who = who or holds[0].who
        if thread.answer == answer and thread.until_us == until_us:
            return
        self.keep(
            replace(
                thread,
                answer=answer,
                who=who,
                answered_us=now_us,
                until_us=until_us,
                progress=replace(thread.progress, next_us=None, waits=False),
            )
        )
        self.mail.withdraw(number, RINGS)

    def begin(self, number: int, kind: str, now_us: int) -> None:
        """Ring from the first person on."""
        thread, incident = self.threads[number], self.incidents[number]
        next_us = now_us
        if kind != "worsened":
            next_us = first_step_us(thread, incident.priority, self.threads.values(), now_us)
        self.mail.withdraw(number, RINGS, is_waiting=True)
        self.keep(
            replace(
                thread,
                priority=incident.priority,
                kind=kind,
                rung_us=now_us,
                danger_at_us=incident.evidence.danger_at_us,
                progress=Progress(next_us),
                answer="",
                who="",
                answered_us=None,
                until_us=None,
            )
        )

    def keep(self, thread: Thread) -> None:
        """Remember how the telling of an incident stands."""
        if self.threads.get(thread.incident) != thread:
            self.threads[thread.incident] = thread
            self._changed[thread.incident] = None

    def _is_due(self, thread: Thread, now_us: int) -> bool:
        """Whether its next step is to be taken; also where it lies farther off than any does.

        Then the clock was set back: a Raspberry Pi has none that runs while it is off.
        """
        next_us, pace = thread.progress.next_us, self._paces[thread.priority]
        if next_us is None or next_us <= now_us:
            return next_us is not None
        longest_us = _LONGEST_NIGHT_US if thread.progress.waits else max(pace.repeat_us, pace.next_us or 0)
        return next_us - now_us > max(longest_us, HOUR_US)

    def _is_latched(self, number: int) -> bool:
        """Whether an alarm of an incident waits for a reset."""
        alarms = (one for one in self.incidents[number].alarms if self.is_latest(one, number))
        return any(self.lives[one].followed in _LATCHED for one in alarms)

    def _is_over(self, thread: Thread, now_us: int) -> bool:
        """Whether nothing of an incident is waited for any more."""
        if (
            thread.ended_us is None
            or thread.progress.next_us is not None
            or self._is_latched(thread.incident)
        ):
            return False
        return now_us - thread.ended_us > (_SEEN_KEPT_US if thread.is_seen else _UNSEEN_KEPT_US)

    def zone(self, tank: str) -> str:
        """The time zone of a tank."""
        return zone_of(tank, self._configuration)
