"""What hangs on a tank, as far as its series and the faults tell: nothing is asked of equipment itself.

Beside it the reservoir of the top-off: for how many days it lasts at the pace of the last ones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from collector.pages.day import Day
from collector.pages.labels import SeriesLabel
from collector.pages.moments import day_and_clock
from collector.pages.record import Buckets
from rules import CAUSES, HOUR_US, Incident

_HOURS_A_DAY = 24.0
# Less than a day and a half says more of the last refill than of a usual day.
_LEAST_HOURS = 36.0
# More days than this are not counted: evaporation changes with the season.
_MOST_DAYS = 60.0
# Hourly means that rise by more than this part of the highest have been filled up; less is noise.
_REFILL = 0.03
# Below this a meter shows what it needs itself.
_IDLE_W = 2.0


class _Known(NamedTuple):
    """How a piece of equipment is called, the role whose series tells of it, and causes that name it."""

    name: str
    role: str | None
    causes: tuple[str, ...]


_EQUIPMENT: Mapping[str, _Known] = MappingProxyType(
    {
        "heater": _Known("Heater", "heater_power", ("heater_failed_off", "heater_weak", "heater_stuck_on")),
        "chiller": _Known("Chiller", "chiller_power", ("cooling_lost",)),
        "fan": _Known("Fans", "fan_power", ("cooling_lost",)),
        "top_off": _Known("Top-off", "top_off_power", ("top_off_failed", "top_off_overdose")),
        "return_pump": _Known("Return pump", "return_pump_power", ("circulation_stopped",)),
        "calcium_reactor": _Known("Calcium reactor", None, ("reactor_off_band",)),
    }
)


@dataclass(frozen=True, slots=True)
class EquipmentNow:
    """One piece: its name, what is known of it in words, and whether it is thought to have failed."""

    key: str
    name: str
    text: str
    has_failed: bool


class Power(NamedTuple):
    """What a series of power or state tells now; `value` is None where it is silent."""

    label: SeriesLabel
    value: float | None
    day: Day


def equipment_now(
    equipment: frozenset[str],
    powers: Mapping[str, Power],
    lasting: Sequence[Incident],
    now_us: int,
    time_zone: str,
) -> tuple[EquipmentNow, ...]:
    """Say of each piece what is seen of it.

    Parameters
    ----------
    equipment
        Words of the configuration.
    powers
        By role.
    lasting
        The tank's incidents that have not ended.
    """
    found = []
    for word, known in _EQUIPMENT.items():
        if word not in equipment:
            continue
        seen = "" if known.role is None else _seen(powers.get(known.role))
        failed = next((one for one in lasting if one.cause in known.causes), None)
        if failed is not None:
            title = CAUSES[failed.cause].title if failed.cause in CAUSES else failed.cause
            since = day_and_clock(failed.first_evidence_us, now_us, time_zone)
            text = f"{title} since {since}" + (f"; {seen}" if seen else "")
        else:
            text = seen or "no sign of a fault; no series tells when it is on"
        found.append(EquipmentNow(word, known.name, text, failed is not None))
    return tuple(found)


def _seen(power: Power | None) -> str:
    if power is None:
        return ""
    if power.value is None:
        return f"not known, {power.label.title} is silent"
    is_on = power.value >= 0.5 if power.label.is_two_state else power.value > _IDLE_W
    text = "on" if is_on else "off"
    if is_on and not power.label.is_two_state:
        text += f" ({power.label.show(power.value)})"
    if power.day.share is not None:
        text += f"; on {100 * power.day.share:.0f} % of the last day"
    return text


def reservoir_text(label: SeriesLabel, value: float, hours: Buckets) -> str:
    """Word how long it lasts: "17.7 L, about 4 days at 4.0 L a day"; "" where that cannot be told.

    Parameters
    ----------
    hours
        Buckets of an hour over the last days.
    """
    pace = daily_use(hours)
    if pace is None or value <= 0.0:
        return ""
    days = value / pace
    if days > _MOST_DAYS:
        return f"{label.show(value)}, more than {_MOST_DAYS:.0f} days"
    left = f"about {days:.0f} days" if days >= 1.5 else f"about {max(1, round(24 * days))} hours"
    return f"{label.show(value)}, {left} at {label.show_difference(pace)} a day"


def daily_use(hours: Buckets) -> float | None:
    """What a reservoir gives a day, in its own unit: what it has lost and what was filled up meanwhile.

    None for less than a day and a half of it, or where nothing was used. Noise does not add up: what goes
    down and up again between two hours cancels, unless it goes up as a refill does.
    """
    filled = (hours.counts > 0) & np.isfinite(hours.mean)
    means, times_us = hours.mean[filled], hours.starts_us[filled]
    if len(means) < 2:
        return None
    span_hours = float(times_us[-1] - times_us[0]) / HOUR_US
    if span_hours < _LEAST_HOURS:
        return None
    steps = np.diff(means)
    refills = steps[steps > _REFILL * float(np.max(means))]
    used = float(means[0] - means[-1] + refills.sum())
    return used / span_hours * _HOURS_A_DAY if used > 0.0 else None
