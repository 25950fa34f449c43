"""Markdown tables of what was measured."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Sequence

from tests.bench.trials.rates import Rate, Share
from tests.bench.trials.trial import Month, Verdict

# Disturbances that a keeper could have told of beforehand.
WORK = frozenset({"water change", "feeding pause", "dosing", "probe cleaned", "calibration"})


def table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def duration(minutes: float | None) -> str:
    """Minutes as a person reads them."""
    if minutes is None:
        return "-"
    if minutes < 90:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.1f} h" if minutes < 48 * 60 else f"{minutes / 1440:.1f} d"


def quantile(values: Sequence[float], share: float, total: int) -> float | None:
    """Quantile of the delays of all trials, those never told counting as endless; None if it is endless."""
    ordered = sorted(values)
    place = max(0, min(total - 1, int(share * total + 0.5) - 1))
    return ordered[place] if place < len(ordered) else None


def faults(verdicts: Sequence[Verdict], sensors: str) -> str:
    """Caught, right cause and family, delays, by fault."""
    chosen = [v for v in verdicts if v.sensors == sensors]
    rows = []
    for name in dict.fromkeys(v.fault for v in chosen):
        rows.append(_row(name, [v for v in chosen if v.fault == name]))
    if rows:
        rows.append(_row("**all**", chosen))
    return table(
        (
            "fault",
            "n",
            "caught %",
            "right cause at first ring %",
            "right cause in the end %",
            "right family at first ring %",
            "right family in the end %",
            "right cause named, rivals included %",
            "median",
            "90 %",
            "urgent median",
            "rings",
        ),
        rows,
    )


def _row(name: str, group: Sequence[Verdict]) -> list[object]:
    n = len(group)
    caught = [v for v in group if v.is_caught]
    delays = [v.delay for v in caught if v.delay is not None]
    urgent = [v.urgent_delay for v in group if v.urgent_delay is not None]

    def of_caught(key: str) -> Share:
        return Share(sum(getattr(v, key) for v in caught), len(caught))

    return [
        name,
        n,
        Share(len(caught), n),
        of_caught("is_right"),
        of_caught("is_right_later"),
        of_caught("is_family"),
        of_caught("is_family_later"),
        of_caught("is_named"),
        duration(quantile(delays, 0.5, n)),
        duration(quantile(delays, 0.9, n)),
        duration(quantile(urgent, 0.5, n)),
        f"{statistics.mean(v.rings for v in group):.1f}",
    ]


def confusion(verdicts: Sequence[Verdict], sensors: str) -> str:
    """What each fault was called at the first ring."""
    rows = []
    chosen = [v for v in verdicts if v.sensors == sensors]
    for name in dict.fromkeys(v.fault for v in chosen):
        group = [v for v in chosen if v.fault == name]
        called = Counter(v.first_cause or "nothing" for v in group).most_common()
        rows.append([name, ", ".join(f"{cause} {count}" for cause, count in called)])
    return table(("fault", "called at the first ring"), rows)


def trials(verdicts: Sequence[Verdict], *, only_wrong: bool) -> str:
    """A line for each trial, with what `--explain` needs to tell it."""
    rows = [
        [
            v.fault,
            v.sensors,
            v.seed,
            f"{v.volume:.0f} L",
            f"{v.every_s} s",
            v.detail,
            duration(v.delay),
            v.first_cause or "nothing",
            v.last_cause if v.last_cause != v.first_cause else "",
            v.priority,
        ]
        for v in verdicts
        if not (only_wrong and v.is_right)
    ]
    head = ("fault", "series", "seed", "tank", "every", "size", "delay", "called", "later", "priority")
    return table(head, rows)


def before(verdicts: Sequence[Verdict]) -> str:
    """False alarms in the quiet days before the faults."""
    rows = []
    for sensors in dict.fromkeys(v.sensors for v in verdicts):
        group = [v for v in verdicts if v.sensors == sensors]
        months = sum(v.before_days for v in group) / 30.0
        urgent = sum(p == "urgent" for v in group for _, p in v.before)
        total = sum(len(v.before) for v in group)
        called = Counter(cause for v in group for cause, _ in v.before).most_common(6)
        text = ", ".join(f"{cause} {count}" for cause, count in called)
        rows.append([sensors, f"{months:.1f}", Rate(urgent, months), Rate(total, months), text])
    return table(("series", "tank-months", "urgent a month", "any a month", "what"), rows)


def quiet(months: Sequence[Month]) -> str:
    """False alarms per tank-month, with the work that was told and without."""
    rows = []
    for sensors in dict.fromkeys(m.sensors for m in months):
        group = [m for m in months if m.sensors == sensors]
        size = sum(m.days for m in group) / 30.0
        rings = [ring for m in group for ring in m.rings]
        urgent = sum(priority == "urgent" for _, priority, _, _, _ in rings)
        told = sum(is_told for _, _, _, is_told, _ in rings)
        untold = [ring for ring in rings if ring[2] in WORK and not ring[3]]
        untold_urgent = sum(priority == "urgent" for _, priority, _, _, _ in untold)
        quiet_ = sum(why == "nothing" for _, _, why, _, _ in rings)
        rows.append(
            [
                sensors,
                f"{size:.0f}",
                Rate(urgent, size),
                Rate(len(rings), size),
                Rate(urgent - untold_urgent, size),
                Rate(len(rings) - len(untold), size),
                Rate(told, size),
                Rate(quiet_, size),
                sum(m.right for m in group),
            ]
        )
    return table(
        (
            "series",
            "tank-months",
            "urgent a month",
            "any a month",
            "urgent, but for work that nobody told",
            "any, but for work that nobody told",
            "during told work",
            "beside any disturbance",
            "rings about water truly too warm or cold (not counted)",
        ),
        rows,
    )


def quiet_causes(months: Sequence[Month], sensors: str) -> str:
    """What rang by disturbance and cause."""
    count: Counter[tuple[str, bool]] = Counter()
    causes: dict[tuple[str, bool], Counter[str]] = {}
    for month in months:
        if month.sensors != sensors:
            continue
        for cause, priority, why, is_told, _ in month.rings:
            key = (why, is_told)
            count[key] += 1
            causes.setdefault(key, Counter())[f"{cause} ({priority})"] += 1
    rows = [
        [
            why + (", told" if is_told else ""),
            number,
            ", ".join(f"{c} {k}" for c, k in causes[why, is_told].most_common()),
        ]
        for (why, is_told), number in count.most_common()
    ]
    return table(("disturbance", "rings", "what rang"), rows) if rows else "Nothing rang.\n"
