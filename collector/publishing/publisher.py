"""Publishes what others may act on, only when it has changed; on the thread of the loop, which never waits.

What is published is made of what is durable: a commit is heard when it has returned. A broker that is away
misses nothing that matters, for each new connection gets every state as it is then. Topics that ever held a
state of ours are remembered in the store, so that one that is no longer so is emptied, also after a kill.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from typing import Protocol

import orjson

from collector.alarm_record import LifeChange
from collector.configuration import Configuration
from collector.learning import Standing
from collector.publishing.payloads import (
    AlarmNow,
    alarm_payload,
    expected_payload,
    incidents_payload,
    quality_payload,
    sounder_payload,
)
from collector.publishing.topics import (
    alarm_topic,
    expected_topic,
    incidents_topic,
    quality_topic,
    sounder_topic,
)
from collector.store import Commit, IncidentRecord, StoreReader
from rules import (
    HOUR_US,
    QUANTITIES,
    AlarmEvent,
    AlarmKey,
    AlarmRaised,
    AlarmState,
    WeekProfile,
)

# How soon a change is out, and at most how often one series' flag is told while it changes with each reading.
PACE_S = 0.5
# A usual band is constant within a quarter of an hour.
QUARTER_US = HOUR_US // 4
_NOTE = "mqtt retained states"


class Line(Protocol):
    """What is needed of the session with the broker."""

    @property
    def publishing_on(self) -> int | None:
        """The number of the connection that takes states; None while there is none."""
        ...

    def publish(self, topic: str, payload: bytes) -> None:
        """Publish a state, retained; an empty payload takes it away."""
        ...


class Publisher:
    """Knows what is to be retained at the broker, and sends what differs.

    Parameters
    ----------
    line
        The session with the broker.
    configuration
        Tanks and series.
    recall, remember
        Notes that outlive the service, by key.
    """

    def __init__(
        self,
        line: Line,
        configuration: Configuration,
        *,
        recall: Callable[[str], str | None],
        remember: Callable[[str, str], None],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._line, self._configuration = line, configuration
        self._remember, self._monotonic = remember, monotonic
        # What an alarm is shown as, and since when; how it was raised.
        self._states: dict[AlarmKey, tuple[str, int]] = {}
        self._raised: dict[AlarmKey, AlarmRaised] = {}
        self._incidents: dict[int, IncidentRecord] = {}
        # Series index -> newest reading, its flag, and the first reading of which that is so.
        self._flags: dict[int, tuple[int, int, int]] = {}
        self._bands: dict[str, bytes] = {}
        self._judged_by: tuple[int, Mapping[int, Standing]] = (-1, {})
        self._look_at_s = 0.0
        self._connection: int | None = None
        self._is_changed = True
        self._sent: dict[str, bytes] = {}
        note = recall(_NOTE)
        self._retained: set[str] = set() if note is None else set(orjson.loads(note))

    def restore(self, reader: StoreReader, ids: Iterable[int]) -> None:
        """Begin with what was so when the service stopped; `ids` are of the configured series, in order."""
        self._hear_alarms(reader.open_alarms(), reader.last_life_changes())
        self._incidents = {one.incident.number: one for one in reader.incidents(open_only=True)}
        index = {number: at for at, number in enumerate(ids)}
        for latest in reader.latest():
            if latest.series.id in index:
                self._flags[index[latest.series.id]] = (latest.observed_us, latest.flag, latest.observed_us)

    # -- what has become so ------------------------------------------------------------------------

    def hear(self, commit: Commit) -> None:
        """Take note of what has become durable."""
        newest = {row[0]: (row[1], row[3]) for row in commit.rows}
        for series, (observed_us, flag) in newest.items():
            self._flag(series, observed_us, flag)
        for one in commit.revised:
            known = self._flags.get(one.series)
            if known is not None and known[0] == one.observed_us:
                self._flag(one.series, one.observed_us, one.primary)
        if commit.alarms or commit.incidents or commit.lives:
            self._hear_alarms(commit.alarms, commit.lives)
            for record in commit.incidents:
                self._incidents[record.incident.number] = record
                if record.incident.ended_at_us is not None:
                    del self._incidents[record.incident.number]
            self._is_changed = True

    def _flag(self, series: int, observed_us: int, flag: int) -> None:
        known = self._flags.get(series)
        if known is not None and observed_us < known[0]:
            return
        is_same = known is not None and known[1] == flag
        since_us = known[2] if known is not None and is_same else observed_us
        self._flags[series] = (observed_us, flag, since_us)
        self._is_changed |= not is_same

    def _hear_alarms(self, events: Iterable[AlarmEvent], lives: Iterable[LifeChange]) -> None:
        self._raised |= {event.alarm: event for event in events if isinstance(event, AlarmRaised)}
        for change in lives:
            # Without a cause it is a series that was taken out of service; each of its alarms says so itself.
            if change.alarm.cause:
                self._states[change.alarm] = (change.life.state.value, change.at_us)

    # -- what is published -------------------------------------------------------------------------

    def turn(self, now_us: int, usual: Mapping[int, Standing]) -> None:
        """Publish what has changed, at most every half second; all of it on a new connection.

        Parameters
        ----------
        now_us
            Tank time, for the band that is usual now.
        usual
            What stands of each series, by index.
        """
        now_s = self._monotonic()
        connection = self._line.publishing_on
        if connection is None or now_s < self._look_at_s:
            return
        self._look_at_s = now_s + PACE_S
        self._look_at_bands(now_us, usual)
        if connection != self._connection:
            self._connection, self._is_changed = connection, True
            self._sent.clear()
        if self._is_changed:
            self._is_changed = False
            # What is published no more is emptied.
            self._publish(self._wanted() if self._configuration.mqtt.publishes else {})

    def _publish(self, wanted: Mapping[str, bytes]) -> None:
        if not wanted.keys() <= self._retained:
            # Before they are sent: a kill in between must not leave one that nobody knows of.
            self._retained |= wanted.keys()
            self._remember(_NOTE, orjson.dumps(sorted(self._retained)).decode())
        for topic in sorted(self._retained):
            payload = wanted.get(topic, b"")
            if self._sent.get(topic) != payload:
                self._line.publish(topic, payload)
                self._sent[topic] = payload

    def _wanted(self) -> dict[str, bytes]:
        """Every topic with what it is to hold."""
        numbers = {
            alarm: number for number, record in self._incidents.items() for alarm in record.incident.alarms
        }
        alarms = {alarm: self._now(alarm) for alarm in sorted(self._states, key=alarm_topic)}
        wanted = {
            alarm_topic(alarm): alarm_payload(alarm, now, numbers.get(alarm)) for alarm, now in alarms.items()
        }
        for tank in (one.name for one in self._configuration.tanks):
            own = [one for _, one in sorted(self._incidents.items()) if one.incident.tank == tank]
            wanted[incidents_topic(tank)] = incidents_payload(own)
            wanted[sounder_topic(tank)] = sounder_payload(
                now for alarm, now in alarms.items() if alarm.tank == tank
            )
        for index, series in enumerate(self._configuration.series):
            if index in self._flags:
                _, flag, since_us = self._flags[index]
                wanted[quality_topic(series.tank, series.name)] = quality_payload(flag, since_us)
        return wanted | self._bands

    def _now(self, alarm: AlarmKey) -> AlarmNow:
        state, since_us = self._states[alarm]
        raised = self._raised.get(alarm)
        if raised is None or state == AlarmState.NORMAL:
            return AlarmNow(state, since_us)
        return AlarmNow(state, since_us, raised.priority, raised.first_evidence_us)

    def _look_at_bands(self, now_us: int, usual: Mapping[int, Standing]) -> None:
        quarter = now_us // QUARTER_US
        before, judged_by = self._judged_by
        # A fit brings a new mapping.
        if quarter == before and usual is judged_by:
            return
        self._judged_by = (quarter, usual)
        bands = {}
        for index, series in enumerate(self._configuration.series):
            standing = usual.get(index)
            if standing is not None and isinstance(standing.fitted, WeekProfile):
                bands[expected_topic(series.tank, series.name)] = expected_payload(
                    standing.fitted.band_at(now_us), QUANTITIES[series.quantity], quarter * QUARTER_US
                )
        self._is_changed |= bands != self._bands
        self._bands = bands
