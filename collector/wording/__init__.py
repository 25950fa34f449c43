"""What a half-asleep person reads of an incident: one line that says all, and a few sentences.

The first line holds at most 12 words and 60 characters: what, where, which value, when it is
dangerous. The body holds at most `BODY_WORDS` words: the trend and since when, what to look at first,
what to beware of, how to answer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, NamedTuple, TypeAlias

from collector.configuration import Configuration
from collector.display_units import DisplayUnits
from collector.units.display import display, display_difference
from collector.wording.evidence import short_reason, short_rival
from collector.wording.fitting import join_while_fitting, shorten, shorten_pair, words
from collector.wording.texts import CAUSE_TEXTS, CauseText, look_for
from collector.wording.times import clock_text, duration_text
from rules import TWO_STATE, Incident, Priority, SeriesRules

TITLE_WORDS = 12
TITLE_CHARACTERS = 60
# Forty words may reach the person; delivery may add five ("Possibly repeated. 35 min old.").
BODY_WORDS = 35
# The longest value that people write; beyond it stands a power of ten.
_VALUE_CHARACTERS = 14

Kind: TypeAlias = Literal["opened", "worsened", "again", "next", "back", "renamed", "ended"]

# What comes before the rest where it is not told for the first time.
_FIRST: Mapping[str, str] = MappingProxyType(
    {
        "worsened": "Worse now.",
        "again": "Not acknowledged yet.",
        "next": "Nobody has acknowledged yet.",
        "back": "Shelving is over.",
        "renamed": "Looks like this now.",
    }
)

_DANGER_LINES = frozenset({"under_danger_line", "over_danger_line"})

_HOW_SOON = {
    Priority.URGENT: "Act now:",
    Priority.HIGH: "Act today:",
    Priority.LOW: "When you have time:",
}


class Message(NamedTuple):
    """What a person reads: the first line, and what stands below it."""

    title: str
    body: str


def message_for(
    incident: Incident, configuration: Configuration, *, kind: Kind, now_us: int, closing: str = ""
) -> Message:
    """Word an incident for the person who is told.

    Parameters
    ----------
    incident
        Its cause is one of `rules.CAUSES`. Names that the configuration no longer holds stand for
        themselves.
    kind
        Why the person is told now.
    now_us
        Decides which times need a weekday.
    closing
        What stands on a line of its own below the rest, unless it has ended: how to answer.
    """
    words_of = _Words.of(incident, configuration, now_us)
    if kind == "ended":
        return Message(words_of.ended_title(), words_of.ended_body())
    body = words_of.body(_FIRST.get(kind), BODY_WORDS - words(closing))
    return Message(words_of.title(), f"{body}\n{closing}" if closing else body)


@dataclass(frozen=True, slots=True)
class _Words:
    """An incident with everything that its wording needs."""

    incident: Incident
    text: CauseText
    time_zone: str
    places: tuple[str, ...]
    quantity: str | None
    rules: SeriesRules | None
    now_us: int
    series_title: str
    reason: str | None
    rival: tuple[str, ...]
    units: DisplayUnits

    @classmethod
    def of(cls, incident: Incident, configuration: Configuration, now_us: int) -> _Words:
        text = CAUSE_TEXTS[incident.cause]
        tank_title, time_zone = _plain(incident.tank), "UTC"
        for tank in configuration.tanks:
            if tank.name == incident.tank:
                tank_title, time_zone = _one_line(tank.title) or tank_title, tank.rules.time_zone
        name = incident.series[0] if incident.series else ""
        series_title, quantity, rules = _plain(name), None, None
        for index, series in enumerate(configuration.series):
            if (series.tank, series.name) == (incident.tank, name):
                series_title = _one_line(series.title) or series_title
                quantity, rules = series.quantity, configuration.engine.series[index]
        if text.where == "tank":
            places: tuple[str, ...] = (tank_title,)
        else:
            thing = _board(incident) if text.where == "board" else series_title
            places = (tank_title, thing) if len(configuration.tanks) > 1 else (thing,)
        reason = short_reason(incident.evidence, incident.tank, configuration)
        rival = short_rival(incident.evidence, incident.cause)
        return cls(
            incident,
            text,
            time_zone,
            places,
            quantity,
            rules,
            now_us,
            series_title,
            reason,
            rival,
            configuration.units,
        )

    # -- the first line ----------------------------------------------------------------------------

    def title(self) -> str:
        """What: where, value, when dangerous; where is cut if need be, nothing else."""
        what = f"{self._what}: "
        value = "" if self._value is None or not self.text.shows_value else f" {self._value}"
        dangers = self._danger_ends() if self.text.shows_danger else ("",)
        since = f" since {self._clock(self._since_us)}" if self.text.shows_since else ""
        for danger in dangers:
            rest = f"{value}{since}{danger}"
            line = f"{what}{', '.join(self.places)}{rest}"
            if len(line) <= TITLE_CHARACTERS and words(line) <= TITLE_WORDS:
                return line
        return f"{what}{self._place(what, rest)}{rest}"

    def ended_title(self) -> str:
        """The end of what, where; the value of the alarm is not the value now, so it is not told."""
        what = f"Ended: {self._what.lower()}, "
        return f"{what}{self._place(what, '')}"

    def _place(self, before: str, after: str) -> str:
        characters = TITLE_CHARACTERS - len(before) - len(after)
        most_words = TITLE_WORDS - words(before) - words(after)
        if len(self.places) == 2:
            return shorten_pair(*self.places, characters, most_words)
        return shorten(self.places[0], characters, most_words)

    def _danger_ends(self) -> tuple[str, ...]:
        """How the first line ends, the better wording first."""
        at_us = self.incident.evidence.danger_at_us
        if self._is_in_danger or (at_us is not None and at_us <= self.now_us):
            return (", danger now",)
        if at_us is None:
            return ("",)
        at = self._clock(at_us)
        return f", danger about {at}", f", danger {at}"

    # -- the body ----------------------------------------------------------------------------------

    def body(self, first: str | None, most_words: int) -> str:
        """Trend and since when, what is known beside, how soon, first thing to do, caution."""
        look = look_for(self.text, self.quantity, self._is_high)
        before = [] if first is None else [first]
        what_to_do = [_HOW_SOON[self.incident.priority], look.action, look.caution]
        since = f"since {self._clock(self._since_us)}."
        room = most_words - sum(map(words, (*before, since, *what_to_do)))
        state = next((state for state in self._states if words(state) <= room), self._trend)
        return join_while_fitting([*before, f"{state} {since}"], self._details(), what_to_do, most_words)

    def ended_body(self) -> str:
        """When and after how long, and what to do about it by day."""
        ended_us = self.incident.ended_at_us or self.now_us
        lasted = duration_text(ended_us - self._since_us)
        alarm = [] if self._value is None or not self.text.shows_value else [f"It rang at {self._value}."]
        return join_while_fitting(
            [f"Back to normal at {self._clock(ended_us)}, after {lasted}."],
            alarm,
            [self.text.after],
            BODY_WORDS,
        )

    def _details(self) -> list[str | tuple[str, ...]]:
        evidence = self.incident.evidence
        details: list[str | tuple[str, ...]] = []
        # A lost probe names the incident, and what it last saw must not be lost with it.
        if "danger" not in self.incident.cause and crossed_danger_line(self.incident):
            details.append("The danger line was crossed.")
        if self.incident.cause == "probe_silent" and self._value is not None:
            details.append(f"Last reading {self._value}.")
        details.append(self.rival)
        if self.reason is not None:
            details.append(self.reason)
        if evidence.danger is not None:
            line = f"Danger line {self._show(evidence.danger)}"
            earliest_us, latest_us = evidence.danger_earliest_us, evidence.danger_latest_us
            if earliest_us is not None and latest_us is not None and latest_us > self.now_us:
                earliest, latest = self._clock(max(earliest_us, self.now_us)), self._clock(latest_us)
                if earliest != latest:
                    line += f" between {earliest} and {latest}"
            details.append(f"{line}.")
        # Of two states neither is a limit: that it is in alarm has been said.
        if evidence.limit is not None and self.quantity not in TWO_STATE:
            name = "Danger line" if "danger" in self.incident.cause else "Limit"
            details.append(f"{name} {self._show(evidence.limit)}.")
        if evidence.expected_low is not None and evidence.expected_high is not None:
            details.append(f"Usual {self._span(evidence.expected_low, evidence.expected_high)}.")
        if evidence.confidence is not None:
            details.append(f"About {100 * evidence.confidence:.0f} % sure.")
        return details

    @property
    def _what(self) -> str:
        if self.incident.cause == "changing_fast" and self._is_high is not None:
            return "Rising fast" if self._is_high else "Falling fast"
        return self.text.what

    @property
    def _states(self) -> tuple[str, ...]:
        """What opens the body, the better wording first."""
        if self.text.states is not None:
            return (self.text.states,)
        if self.text.where == "tank" and not self.text.shows_value and self._value is not None:
            # The first line names neither series nor value.
            trend = "" if self.quantity in TWO_STATE else f", {self._trend[:1].lower()}{self._trend[1:]}"
            return (f"{shorten(self.series_title, 24, 3)} {self._value}{trend}",)
        return (self._trend,)

    @property
    def _trend(self) -> str:
        rate = self.incident.evidence.rate_per_hour
        if rate is None or not math.isfinite(rate):
            return "Seen"
        # Less than the last digit shown in ten hours is no trend that anybody would see.
        if self._show(abs(rate) * 10.0) == self._show(0.0):
            return "Steady"
        return f"{'Rising' if rate > 0 else 'Falling'} {self._rate(abs(rate))}"

    @property
    def _is_high(self) -> bool | None:
        rate = self.incident.evidence.rate_per_hour
        if self.text.is_high is None and rate is not None and rate != 0:
            return rate > 0
        return self.text.is_high

    @property
    def _is_in_danger(self) -> bool:
        """Whether the value is beyond the danger line of its side already."""
        value, is_high = self.incident.evidence.value, self._is_high
        if value is None or is_high is None or self.rules is None:
            return False
        # The evidence has a danger line only while it is ahead.
        line = self.rules.danger_line(is_high=is_high)
        return line is not None and (value > line if is_high else value < line)

    @property
    def _since_us(self) -> int:
        since_us = self.incident.evidence.since_us
        return self.incident.first_evidence_us if since_us is None else since_us

    @property
    def _value(self) -> str | None:
        value = self.incident.evidence.value
        return None if value is None or not math.isfinite(value) else self._show(value)

    def _show(self, value: float) -> str:
        text = f"{value:g}" if self.quantity is None else display(value, self.quantity, self.units)
        return text if len(text) <= _VALUE_CHARACTERS else f"{value:.2e}"

    def _rate(self, per_hour: float) -> str:
        size = f"{per_hour:g}"
        if self.quantity is not None:
            size = display_difference(per_hour, self.quantity, self.units)
        return f"{size if len(size) <= _VALUE_CHARACTERS else f'{per_hour:.2e}'}/h"

    def _span(self, low: float, high: float) -> str:
        first, last = self._show(low), self._show(high)
        number, _, unit = first.partition(" ")
        return f"{number if unit and last.endswith(unit) else first} to {last}"

    def _clock(self, at_us: int) -> str:
        return clock_text(at_us, self.now_us, self.time_zone)


def crossed_danger_line(incident: Incident) -> bool:
    """Whether an alarm of a danger line belongs to the incident, whatever names it."""
    return any(alarm.cause in _DANGER_LINES for alarm in incident.alarms)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _plain(name: str) -> str:
    """A name of the configuration as words."""
    return _one_line(name.replace("_", " ")).capitalize() or "?"


def _board(incident: Incident) -> str:
    names = [alarm.series for alarm in incident.alarms if alarm.cause == incident.cause]
    return _plain(names[-1] if names else incident.series[0])


__all__ = [
    "BODY_WORDS",
    "TITLE_CHARACTERS",
    "TITLE_WORDS",
    "Kind",
    "Message",
    "crossed_danger_line",
    "message_for",
]
