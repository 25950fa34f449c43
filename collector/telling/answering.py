"""What people answer: acknowledge, shelve, take out of service, and what is said to that."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from collector.alarm_requests import (
    AboutAlarms,
    Acknowledge,
    AnswerTestRing,
    OfAlarms,
    Reset,
    ReturnToService,
    Shelve,
    TakeOutOfService,
    Unshelve,
)
from collector.requests import Answer, Request
from collector.telling.desk import Desk
from rules import (
    CAUSES,
    LONGEST_SHELF_US,
    MICROSECONDS,
    AlarmKey,
    AlarmLife,
    AlarmState,
    AlarmStep,
    Hold,
)

_AGAIN = "it rings again if it gets worse"


class Refused(Exception):  # noqa: N818 - it is an answer, no error
    """It cannot be done, in words for whoever asked."""


class Answering:
    """Does what people ask about alarms.

    Parameters
    ----------
    desk
        Where alarms are.
    tanks, series
        Names of tanks, and of the series of each by (tank, series): what can be taken out of service.
    """

    def __init__(self, desk: Desk, tanks: Sequence[str], series: Sequence[tuple[str, str]]) -> None:
        self._desk = desk
        self._tanks, self._series = tuple(tanks), frozenset(series)

    def take(self, request: Request, asked: AboutAlarms, now_us: int) -> Answer:
        """Do it; the change waits in the desk for the commit that holds the answer."""
        try:
            return Answer(request.id, True, self._take(request, asked, now_us))
        except Refused as refused:
            return Answer(request.id, False, str(refused))

    def _take(self, request: Request, asked: AboutAlarms, now_us: int) -> str:
        who = request.who
        if isinstance(asked, AnswerTestRing):
            answered = self._desk.test_rings.answer(asked.person, who, now_us)
            if not answered:
                raise Refused("no test ring waits for an answer")
            return f"the test ring of {', '.join(answered)} is answered"
        if asked.tank and asked.tank not in self._tanks:
            raise Refused(f"there is no tank {asked.tank!r}: one of {', '.join(self._tanks)}")
        match asked:
            case Acknowledge():
                return self._acknowledge(asked, who, now_us)
            case Shelve():
                return self._shelve(asked, who, request.asked_us, now_us)
            case Unshelve():
                return self._unshelve(asked, who, now_us)
            case Reset():
                return self._reset(asked, who, now_us)
            case TakeOutOfService():
                return self._take_out(asked, who, now_us)
            case ReturnToService():
                return self._return(asked, who, now_us)

    # -- the verbs ---------------------------------------------------------------------------------

    def _acknowledge(self, asked: Acknowledge, who: str, now_us: int) -> str:
        desk = self._desk
        alarms = self._alarms(asked)
        waiting = (
            AlarmState.UNACKNOWLEDGED,
            AlarmState.RETURNED_UNACKNOWLEDGED,
            AlarmState.LATCHED_UNACKNOWLEDGED,
        )
        unseen = [one for one in alarms if desk.lives[one].state in waiting]
        ended = self._ended_unseen(asked)
        if not unseen and not ended:
            raise Refused(self._why_not(asked, alarms))
        for alarm in unseen:
            desk.lives.step(alarm, AlarmStep.ACKNOWLEDGE, now_us, who, asked.why)
        self._see(ended, who, now_us)
        self._settle(unseen, who, now_us)
        still = [one for one in alarms if desk.lives[one].is_active]
        return f"acknowledged: {self._named(unseen or alarms)}; " + (_AGAIN if still else "it has ended")

    def _see(self, ended: Sequence[int], who: str, now_us: int) -> None:
        """Take note that somebody has seen incidents that are over."""
        desk = self._desk
        for number in ended:
            desk.keep(
                replace(
                    desk.threads[number],
                    answer=AlarmState.ACKNOWLEDGED.value,
                    who=who,
                    answered_us=now_us,
                    progress=replace(desk.threads[number].progress, next_us=None, waits=False),
                )
            )
            desk.mail.withdraw(number)

    def _shelve(self, asked: Shelve, who: str, asked_us: int, now_us: int) -> str:
        alarms = self._alarms(asked)
        thread = None if asked.incident is None else self._desk.threads.get(asked.incident)
        if thread is not None and thread.ended_us is not None:
            raise Refused(f"{asked.what} has ended: acknowledge it, if you want it out of the list")
        zone = self._zone(asked, alarms)
        until_us = asked.until_us
        if until_us is None:
            if not self._desk.people:
                raise Refused("nobody is configured whose morning it could be: say how long")
            until_us = self._desk.people[0].morning_us(asked_us, zone)
        if until_us <= now_us:
            raise Refused(f"{_clock(until_us, zone)} is over: say how long from now")
        if until_us - now_us > LONGEST_SHELF_US:
            raise Refused("nothing is shelved for longer than 24 h")
        for alarm in alarms:
            self._desk.lives.hold(alarm, Hold(AlarmState.SHELVED, now_us, until_us, who, asked.why))
        self._settle(alarms, who, now_us)
        return (
            f"shelved until {_clock(until_us, zone)}: {self._named(alarms)}; it rings again then, "
            "or sooner if it gets worse"
        )

    def _unshelve(self, asked: Unshelve, who: str, now_us: int) -> str:
        alarms = [
            one for one in self._alarms(asked, any_state=True) if _holds(self._desk.lives[one], "shelved")
        ]
        if not alarms:
            raise Refused(f"nothing of {asked.what} is shelved")
        for alarm in alarms:
            self._desk.lives.release(alarm, AlarmState.SHELVED, now_us, who, asked.why)
        self._settle(alarms, who, now_us)
        return f"unshelved: {self._named(alarms)}; what is still wrong rings now"

    def _reset(self, asked: Reset, who: str, now_us: int) -> str:
        latched = (AlarmState.LATCHED, AlarmState.LATCHED_UNACKNOWLEDGED)
        alarms = [one for one in self._alarms(asked) if self._desk.lives[one].state in latched]
        if not alarms:
            raise Refused(f"nothing of {asked.what} is latched with its condition gone")
        for alarm in alarms:
            self._desk.lives.step(alarm, AlarmStep.ACKNOWLEDGE, now_us, who, asked.why)
            self._desk.lives.step(alarm, AlarmStep.RESET, now_us, who, asked.why)
        numbers = self._desk.numbers_of(alarms)
        self._see([one for one in numbers if not self._desk.threads[one].is_seen], who, now_us)
        self._desk.record_anew(numbers)
        return f"reset: {self._named(alarms)}"

    def _take_out(self, asked: TakeOutOfService, who: str, now_us: int) -> str:
        alarms = self._in_service(asked)
        hold = Hold(AlarmState.OUT_OF_SERVICE, now_us, None, who, asked.why)
        for alarm in alarms:
            self._desk.lives.hold(alarm, hold)
        self._settle(alarms, who, now_us)
        return (
            f"out of service: {asked.what}. None of its alarms rings, danger lines included, "
            "until you return it to service"
        )

    def _return(self, asked: ReturnToService, who: str, now_us: int) -> str:
        alarms = [one for one in self._in_service(asked) if _holds(self._desk.lives[one], "out of service")]
        if not alarms:
            raise Refused(f"{asked.what} is in service")
        for alarm in alarms:
            self._desk.lives.release(alarm, AlarmState.OUT_OF_SERVICE, now_us, who, asked.why)
        self._settle(alarms, who, now_us)
        return f"in service again: {asked.what}; what is wrong there rings now"

    # -- which alarms ------------------------------------------------------------------------------

    def _alarms(self, asked: OfAlarms, *, any_state: bool = False) -> list[AlarmKey]:
        """Alarms that are meant: of an incident, or of a series those that are not simply normal."""
        desk = self._desk
        if asked.incident is not None:
            incident = desk.incidents.get(asked.incident)
            if incident is None or (asked.tank and incident.tank != asked.tank):
                raise Refused(
                    f"there is no incident {asked.incident} that waits for anything: look at the list of "
                    "incidents"
                )
            return [one for one in incident.alarms if desk.is_latest(one, asked.incident)]
        if asked.cause:
            if asked.cause not in CAUSES:
                raise Refused(f"there is no cause {asked.cause!r}: `brinebell causes` lists them")
            self._check_series(asked)
            return [AlarmKey(asked.tank, asked.series, asked.cause)]
        self._check_series(asked)
        found = [
            one
            for one in desk.lives.of_series(asked.tank, asked.series)
            if any_state or desk.lives[one].state is not AlarmState.NORMAL
        ]
        if not found:
            raise Refused(f"no alarm of {asked.what} is active")
        return found

    def _in_service(self, asked: OfAlarms) -> list[AlarmKey]:
        """Alarms to take out of service or return: a series with all of its alarms, or one of them."""
        if asked.incident is not None:
            return self._alarms(asked, any_state=True)
        self._check_series(asked)
        if asked.cause:
            return self._alarms(asked, any_state=True)
        whole = AlarmKey(asked.tank, asked.series, "")
        return [whole, *self._desk.lives.of_series(asked.tank, asked.series)]

    def _check_series(self, asked: OfAlarms) -> None:
        known = sorted(name for tank, name in self._series if tank == asked.tank)
        if asked.series in known or self._desk.lives.of_series(asked.tank, asked.series):
            return
        raise Refused(f"there is no series {asked.series!r} in {asked.tank}: one of {', '.join(known)}")

    def _ended_unseen(self, asked: OfAlarms) -> list[int]:
        thread = None if asked.incident is None else self._desk.threads.get(asked.incident)
        if thread is None or thread.ended_us is None or thread.answer == AlarmState.ACKNOWLEDGED.value:
            return []
        return [thread.incident]

    def _why_not(self, asked: OfAlarms, alarms: Sequence[AlarmKey]) -> str:
        thread = None if asked.incident is None else self._desk.threads.get(asked.incident)
        if thread is not None and thread.answered_us is not None:
            at = _clock(thread.answered_us, self._zone(asked, alarms))
            by = f" by {thread.who}" if thread.who else ""
            return f"{asked.what} is {thread.answer} since {at}{by}"
        states = ", ".join(dict.fromkeys(self._desk.lives[one].state.value for one in alarms)) or "normal"
        return f"{asked.what} waits for no acknowledgement: {states}"

    def _settle(self, alarms: Sequence[AlarmKey], who: str, now_us: int) -> None:
        for number in self._desk.numbers_of(alarms):
            self._desk.settle(number, now_us, who)

    def _zone(self, asked: OfAlarms, alarms: Sequence[AlarmKey]) -> str:
        return self._desk.zone(alarms[0].tank if alarms else asked.tank)

    def _named(self, alarms: Sequence[AlarmKey]) -> str:
        told: Callable[[AlarmKey], str] = lambda one: (  # noqa: E731
            f"{CAUSES[one.cause].title if one.cause in CAUSES else one.cause} ({one.series})"
        )
        return ", ".join(dict.fromkeys(map(told, alarms)))


def _holds(life: AlarmLife, kind: str) -> bool:
    return any(hold.kind.value == kind for hold in life.holds)


def _clock(at_us: int, zone: str) -> str:
    return datetime.fromtimestamp(at_us // MICROSECONDS, UTC).astimezone(ZoneInfo(zone)).strftime("%a %H:%M")
