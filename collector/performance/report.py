"""The figures beside what the standards aim for, as a table and as plain values.

The targets are those of ISA-18.2, IEC 62682 and EEMUA 191 as secondary texts quote them: the standards
themselves are not open. They are meant for a staffed console, over 30 days or more; one keeper who sleeps
needs far fewer.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, NamedTuple

from collector.performance.figures import Figures
from rules import MICROSECONDS, Priority

LEAST_DAYS = 30


class Target(NamedTuple):
    """What a figure is to be, and who says so."""

    text: str
    source: str


_BOTH = "EEMUA 191, ISA-18.2"
TARGETS = {
    "a_day": Target("about 150 acceptable, 300 the most", "EEMUA 191, ISA-18.2 of 2009"),
    "a_period": Target("about 1 acceptable, 2 the most", _BOTH),
    "peak": Target("at most 10", _BOTH),
    "flood_periods": Target("under 1 %", "ISA-18.2"),
    "flood_time": Target("under 1 %", "ISA-18.2"),
    "top": Target("1 to 5 % for the ten most frequent together", "ISA-18.2"),
    "chattering": Target("0", "ISA-18.2"),
    "fleeting": Target("0", "ISA-18.2"),
    "stale": Target("fewer than 5", "ISA-18.2"),
    "low": Target("about 80 %", "ISA-18.2, where it is low"),
    "high": Target("about 15 %", "ISA-18.2, where it is medium"),
    "urgent": Target("about 5 %", "ISA-18.2, where it is high"),
    "night_rings": Target("under 1 a week", "our own, for one keeper who sleeps"),
}


def as_text(figures: Figures) -> str:
    """A table: figure, how it is here, what it is to be, and who says so."""
    rows = [("figure", "here", "target", "after")]
    rows += [(name, here, target.text, target.source) for name, here, target in _rows(figures)]
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    first, last = (
        datetime.fromtimestamp(at_us // MICROSECONDS, UTC) for at_us in (figures.from_us, figures.to_us)
    )
    alarms = "1 alarm" if figures.alarms == 1 else f"{figures.alarms} alarms"
    lines = [f"{alarms} from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC", ""]
    for row in rows:
        lines.append("  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip())
    if figures.top:
        lines += ["", "Most frequent:"]
        lines += [f"  {cause}  {share:.0%}" for cause, share in figures.top]
    lines += ["", "Targets are those of a staffed console, as secondary texts quote the standards."]
    if figures.days < LEAST_DAYS:
        lines.append(f"They are meant for {LEAST_DAYS} days or more: this is {figures.days:.1f}.")
    return "\n".join(lines)


def _rows(figures: Figures) -> list[tuple[str, str, Target]]:
    top = sum(share for _, share in figures.top)
    rows = [
        ("alarms a day", f"{figures.a_day:.1f}", TARGETS["a_day"]),
        ("alarms in 10 min, on average", f"{figures.a_period:.3f}", TARGETS["a_period"]),
        ("most alarms in 10 min", f"{figures.peak}", TARGETS["peak"]),
        ("10 min with more than 10 alarms", f"{figures.flood_periods:.2%}", TARGETS["flood_periods"]),
        ("time in flood", f"{figures.flood_time:.2%}", TARGETS["flood_time"]),
        ("share of the ten most frequent", f"{top:.0%}" if figures.top else "-", TARGETS["top"]),
        ("chattering alarms", f"{figures.chattering}", TARGETS["chattering"]),
        ("fleeting alarms", f"{figures.fleeting}", TARGETS["fleeting"]),
        ("stale alarms, on the worst day", f"{figures.stale}", TARGETS["stale"]),
        ("standing alarms, now", f"{figures.standing}", Target("-", "")),
    ]
    for priority in (Priority.LOW, Priority.HIGH, Priority.URGENT):
        share = figures.priorities[priority]
        rows.append((f"priority {priority}", "-" if share is None else f"{share:.0%}", TARGETS[priority]))
    rows.append(("rings at night, a week", f"{figures.night_rings_a_week:.1f}", TARGETS["night_rings"]))
    known = "not known"
    if figures.median_s is not None and figures.slowest_s is not None:
        known = f"{figures.median_s / 60:.0f} min, at most {figures.slowest_s / 60:.0f} min"
    rows.append(("time to acknowledge, median", known, Target("-", "")))
    return rows


def as_object(figures: Figures) -> dict[str, Any]:
    """Plain values for machines; instants are RFC 3339, shares from 0 to 1, null where there is none."""
    first, last = (
        f"{datetime.fromtimestamp(at_us // MICROSECONDS, UTC):%Y-%m-%dT%H:%M:%SZ}"
        for at_us in (figures.from_us, figures.to_us)
    )
    return {
        "from": first,
        "to": last,
        "days": figures.days,
        "alarms": figures.alarms,
        "alarms_a_day": figures.a_day,
        "alarms_in_10_min": figures.a_period,
        "most_in_10_min": figures.peak,
        "share_of_10_min_in_flood": figures.flood_periods,
        "share_of_time_in_flood": figures.flood_time,
        "chattering": figures.chattering,
        "fleeting": figures.fleeting,
        "stale_on_the_worst_day": figures.stale,
        "standing": figures.standing,
        "priorities": {str(priority): share for priority, share in figures.priorities.items()},
        "most_frequent": [{"cause": cause, "share": share} for cause, share in figures.top],
        "rings_at_night": figures.night_rings,
        "rings_at_night_a_week": figures.night_rings_a_week,
        "acknowledged": figures.acknowledged,
        "median_s_to_acknowledge": figures.median_s,
        "slowest_s_to_acknowledge": figures.slowest_s,
        "targets": {name: {"is": target.text, "after": target.source} for name, target in TARGETS.items()},
    }
