"""The lives of all alarms: what the engine says and what people ask, step by step, by `rules.AlarmLife`."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from collector.alarm_record import LifeChange
from rules import AlarmKey, AlarmLife, AlarmState, AlarmStep, Hold

_STEP_OF_HOLD = {
    AlarmState.SHELVED: "shelve",
    AlarmState.SUPPRESSED: "suppress",
    AlarmState.OUT_OF_SERVICE: "take out of service",
}
_UNLATCHED = {
    AlarmState.LATCHED: AlarmState.NORMAL,
    AlarmState.LATCHED_UNACKNOWLEDGED: AlarmState.RETURNED_UNACKNOWLEDGED,
}
_STEP_OF_RELEASE = {
    AlarmState.SHELVED: "unshelve",
    AlarmState.SUPPRESSED: "unsuppress",
    AlarmState.OUT_OF_SERVICE: "return to service",
}


class Lives:
    """Alarms by key; an alarm that was never heard of is normal, or out of service with its series.

    Parameters
    ----------
    known
        As recorded. A key without a cause stands for the whole series, see `LifeChange`.
    latching
        Series, as (tank, series), whose alarms latch.
    """

    def __init__(
        self, known: Mapping[AlarmKey, AlarmLife], latching: Collection[tuple[str, str]] = frozenset()
    ) -> None:
        self._latching = frozenset(latching)
        self._lives = {key: self._latched(key, life) for key, life in known.items()}
        self._changes: list[LifeChange] = []

    def __getitem__(self, alarm: AlarmKey) -> AlarmLife:
        life = self._lives.get(alarm)
        if life is None:
            series = self._lives.get(AlarmKey(alarm.tank, alarm.series, ""), AlarmLife())
            life = self._latched(alarm, AlarmLife(holds=series.holds))
        return life

    def _latched(self, alarm: AlarmKey, life: AlarmLife) -> AlarmLife:
        """As the configuration has it now: what latches no more lets go."""
        if (alarm.tank, alarm.series) in self._latching:
            return replace(life, is_latching=True)
        return replace(life, is_latching=False, followed=_UNLATCHED.get(life.followed, life.followed))

    def of_series(self, tank: str, series: str) -> list[AlarmKey]:
        """Alarms of a series that were heard of."""
        return [key for key in self._lives if key.cause and (key.tank, key.series) == (tank, series)]

    @property
    def states(self) -> dict[AlarmKey, AlarmLife]:
        """Every alarm that is not simply normal, and every series out of service."""
        return {key: life for key, life in self._lives.items() if not _is_plain(life)}

    def step(self, alarm: AlarmKey, step: AlarmStep, at_us: int, who: str = "", why: str = "") -> None:
        """Let something happen to an alarm."""
        self._set(alarm, self[alarm].after(step), at_us, step.value, who, why)

    def hold(self, alarm: AlarmKey, hold: Hold) -> None:
        """Hold an alarm from being annunciated."""
        life = self[alarm].held(hold)
        self._set(alarm, life, hold.from_us, _STEP_OF_HOLD[hold.kind], hold.who, hold.why)

    def release(self, alarm: AlarmKey, kind: AlarmState, at_us: int, who: str = "", why: str = "") -> None:
        """End a hold."""
        self._set(alarm, self[alarm].released(kind), at_us, _STEP_OF_RELEASE[kind], who, why)

    def expire(self, now_us: int) -> None:
        """End the holds whose end has come; each bears the instant of its end."""
        for alarm in list(self._lives):
            while (ends_us := self._lives[alarm].wakes_us) is not None and ends_us <= now_us:
                self._set(alarm, self._lives[alarm].at(ends_us), ends_us, "shelving ends")

    @property
    def wakes_us(self) -> int | None:
        """When the next hold ends by itself; None if none does."""
        ends = (life.wakes_us for life in self._lives.values())
        return min((one for one in ends if one is not None), default=None)

    def suppress(self, alarms: Iterable[AlarmKey], now_us: int) -> list[AlarmKey]:
        """Take over which alarms planned work suppresses by design now; return those released."""
        wanted = set(alarms)
        released = []
        for alarm, life in list(self._lives.items()):
            is_held = any(hold.kind is AlarmState.SUPPRESSED for hold in life.holds)
            if is_held and alarm not in wanted:
                self.release(alarm, AlarmState.SUPPRESSED, now_us, "planned work")
                released.append(alarm)
            elif is_held:
                wanted.discard(alarm)
        for alarm in sorted(wanted, key=lambda one: (one.tank, one.series, one.cause)):
            self.hold(alarm, Hold(AlarmState.SUPPRESSED, now_us, None, "planned work", ""))
        return released

    def settle(self, active: Iterable[AlarmKey], now_us: int) -> None:
        """After a start: agree with which alarms are active, where an older version recorded no life."""
        wanted = set(active)
        for alarm in wanted:
            if not self[alarm].is_active:
                self.step(alarm, AlarmStep.RAISE, now_us)
        for alarm, life in list(self._lives.items()):
            if life.is_active and alarm not in wanted:
                self.step(alarm, AlarmStep.RETURN, now_us)

    def drain(self) -> tuple[LifeChange, ...]:
        """What has changed since this was called last."""
        changes, self._changes = tuple(self._changes), []
        return changes

    def _set(
        self, alarm: AlarmKey, life: AlarmLife, at_us: int, step: str, who: str = "", why: str = ""
    ) -> None:
        if alarm in self._lives and life == self._lives[alarm]:
            return
        if alarm not in self._lives and life == self[alarm] and _is_plain(life):
            return
        self._lives[alarm] = replace(life)
        self._changes.append(LifeChange(alarm, at_us, step, life, who, why))


def _is_plain(life: AlarmLife) -> bool:
    return life == AlarmLife(is_latching=life.is_latching)
