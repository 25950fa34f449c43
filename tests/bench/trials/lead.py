"""How much sooner than others: fixed limits and other methods tuned to the same number of false alarms."""

from __future__ import annotations

import statistics
from collections.abc import Sequence

import numpy as np

from tests.bench.trials.campaign import LivedThrough, Played
from tests.bench.trials.cases import CASES
from tests.bench.trials.methods import LIMITS
from tests.bench.trials.rates import Share
from tests.bench.trials.tables import duration, quantile, table
from tests.bench.trials.trial import Verdict
from tests.bench.trials.tuning import Tuned, tune


def budget_of(months: Sequence[LivedThrough], sensors: str) -> int:
    """How often the engine rang in the quiet months."""
    return sum(len(m.rings) for one in months for m in one.months if m.sensors == sensors)


def tuned(
    played: Sequence[Played], months: Sequence[LivedThrough], method: str, sensors: str, budget: float
) -> tuple[list[Played], Tuned]:
    """The trials in which a method was tried, and what it makes of them at a budget of false rings."""
    tried = [one for one in played if (method, sensors) in one.others]
    rings = [one.others[method, sensors] for one in tried]
    false = [one.others[method, sensors] for one in months if (method, sensors) in one.others]
    return tried, tune(rings, false, [CASES[one.name].hours for one in tried], budget)


def _ours(one: Played, sensors: str) -> Verdict:
    return next(v for v in one.verdicts if v.sensors == sensors)


def limits(played: Sequence[Played], months: Sequence[LivedThrough], sensors: str) -> str:
    """Ours beside limits about the usual value and about the tank's own range, fault by fault."""
    budget = budget_of(months, sensors)
    found = {method.name: tuned(played, months, method.name, sensors, budget) for method in LIMITS}
    rows = []
    for name in dict.fromkeys(one.name for one in played):
        group = [
            one for one in played if one.name == name and any(v.sensors == sensors for v in one.verdicts)
        ]
        if not group:
            continue
        n = len(group)
        ours = {one.seed: _ours(one, sensors).delay for one in group}
        own = [delay for delay in ours.values() if delay is not None]
        median = quantile(own, 0.5, n)
        row: list[object] = [name, n, Share(len(own), n), duration(median), duration(quantile(own, 0.9, n))]
        for tried, result in found.values():
            theirs = {
                one.seed: float(result.minutes[i])
                for i, one in enumerate(tried)
                if one.name == name and np.isfinite(result.minutes[i])
            }
            their_median = quantile(list(theirs.values()), 0.5, n)
            leads = [
                theirs[seed] - delay for seed, delay in ours.items() if delay is not None and seed in theirs
            ]
            row += [
                Share(len(theirs), n),
                duration(their_median),
                duration(quantile(list(theirs.values()), 0.9, n)),
                "-" if median is None or their_median is None else f"{median / their_median:.2f}",
                _signed(statistics.median(leads)) if leads else "-",
            ]
        rows.append(row)
    head = ["fault", "n", "ours: caught %", "median", "90 %"]
    for name in found:
        head += [f"{name}: caught %", "median", "90 %", "ratio of medians", "lead, median of pairs"]
    text = "" if len({one.name for one in played}) == len(CASES) else "Tuned for these faults alone.\n\n"
    text += table(head, rows) + f"\nOurs rang {budget} times in {len(months)} tank-months.\n"
    for name, (_, result) in found.items():
        chosen = "; ".join(
            f"{channel} {LIMITS[0].levels(channel)[level]:.2g} {option}"
            for channel, (option, level) in sorted(result.choice.items())
        )
        text += f"\n{name}: {result.false_rings:.0f} times; how far beyond, and on-delay: {chosen}.\n"
    return text


def _signed(minutes: float) -> str:
    return ("-" if minutes < 0 else "") + duration(abs(minutes))


def others(played: Sequence[Played], months: Sequence[LivedThrough], sensors: str) -> str:
    """Median delay and share caught of every method at the engine's number of false alarms."""
    methods = list(dict.fromkeys(method for one in played for method, s in one.others if s == sensors))
    played = [one for one in played if all((method, sensors) in one.others for method in methods)]
    budget = budget_of(months, sensors)
    results = {method: tuned(played, months, method, sensors, budget) for method in methods}
    rows = []
    names = list(dict.fromkeys(one.name for one in played if any(v.sensors == sensors for v in one.verdicts)))
    ahead = dict.fromkeys(methods, 0)
    for name in names:
        group = [one for one in played if one.name == name]
        own = [v.delay for one in group if (v := _ours(one, sensors)).delay is not None]
        n = len(group)
        median = quantile(own, 0.5, n)
        row: list[object] = [name, f"{100 * len(own) / n:.0f} %, {duration(median)}"]
        for method in methods:
            tried, found = results[method]
            told = [float(found.minutes[i]) for i, one in enumerate(tried) if one.name == name]
            told = [t for t in told if np.isfinite(t)]
            theirs = quantile(told, 0.5, n)
            is_ahead = theirs is None or (median is not None and median <= theirs)
            ahead[method] += is_ahead
            row.append(f"{100 * len(told) / n:.0f} %, {duration(theirs)}{'' if is_ahead else ' **sooner**'}")
        rows.append(row)
    rows.append(["ours first or level", "", *(f"{ahead[method]} of {len(names)}" for method in methods)])
    spent = ", ".join(f"{method} {results[method][1].false_rings:.0f}" for method in methods)
    return table(("fault", "ours", *methods), rows) + f"\nFalse rings: ours {budget}, {spent}.\n"


def best(played: Sequence[Played], sensors: str) -> str:
    """Ours beside the CUSUM that knows the fault's course."""
    rows = []
    for name in dict.fromkeys(one.name for one in played):
        pairs = [
            (v.delay, one.best)
            for one in played
            if one.name == name and one.best is not None
            for v in one.verdicts
            if v.sensors == sensors
        ]
        both = [(ours, ideal) for ours, ideal in pairs if ours is not None]
        if not both:
            continue
        rows.append(
            [
                name,
                len(pairs),
                duration(statistics.median(ideal for _, ideal in pairs)),
                duration(quantile([ours for ours, _ in both], 0.5, len(pairs))),
                f"{statistics.median(ours / ideal for ours, ideal in both):.1f}",
            ]
        )
    return table(("fault", "n", "knows the course", "ours", "ratio, median of pairs"), rows)
