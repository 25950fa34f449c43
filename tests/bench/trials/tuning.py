"""Thresholds for another method, tuned on the very trials it is measured on. What can it do at its best?

For each channel one option and one level, or none: chosen so that the sum of false rings over the quiet
months stays within a budget and the mean share of the horizon that passes until a fault is told is least.
That is a search with hindsight, so it flatters the method.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Table = dict[tuple[str, str], np.ndarray]


@dataclass(slots=True)
class Tuned:
    """The choice, its false rings, and the minutes to the first ring of every trial (inf: never)."""

    choice: dict[str, tuple[str, int]]
    false_rings: float
    minutes: np.ndarray


def tune(rings: Sequence[Table], false: Sequence[Table], hours: Sequence[float], budget: float) -> Tuned:
    """Spend the budget where it wins most.

    Parameters
    ----------
    rings
        For each trial: (channel, option) -> minutes to the first ring at each level. Channels that a trial
        has not are never told there.
    false
        For each quiet month: (channel, option) -> number of false rings at each level.
    hours
        Horizon of each trial.
    budget
        Most false rings in all months together.
    """
    keys = sorted({key for table in (*rings, *false) for key in table})
    counts = {key: sum(table[key] for table in false if key in table) for key in keys}
    limit = np.array(hours) * 60.0
    shares: dict[tuple[str, str], np.ndarray] = {}
    for key in keys:
        size = len(next(table[key] for table in (*rings, *false) if key in table))
        column = np.full((size, len(rings)), np.inf)
        for trial, table in enumerate(rings):
            if key in table:
                column[:, trial] = table[key]
        shares[key] = np.minimum(column / limit, 1.0).astype(np.float32)
    channels = sorted({channel for channel, _ in keys})
    chosen: dict[str, tuple[str, int]] = {}
    used = 0.0
    now = np.ones(len(rings), np.float32)
    while True:
        best: tuple[float, str, tuple[str, int], float] | None = None
        for channel in channels:
            others = np.ones(len(rings), np.float32)
            for other, (option, level) in chosen.items():
                if other != channel:
                    others = np.minimum(others, shares[other, option][level])
            spent = counts[channel, chosen[channel][0]][chosen[channel][1]] if channel in chosen else 0.0
            for option in (option for one, option in keys if one == channel):
                costs = np.broadcast_to(counts[channel, option], len(shares[channel, option]))
                for cost in np.unique(costs):
                    if used - spent + cost > budget:
                        continue
                    # A level that rings all the time tells nothing new, so the best of them is looked for.
                    affordable = np.flatnonzero(costs <= cost)
                    sums = np.minimum(others, shares[channel, option][affordable]).sum(axis=1)
                    level = int(affordable[int(np.argmin(sums))])
                    cost = float(costs[level])
                    gain = float(now.sum() - sums.min())
                    worth = gain / (max(cost - spent, 0.0) + 0.05)
                    if gain > 0.01 and (best is None or worth > best[0]):
                        best = (worth, channel, (option, level), float(used - spent + cost))
        if best is None:
            break
        _, channel, chosen[channel], used = best
        now = np.ones(len(rings), np.float32)
        for one, (option, level) in chosen.items():
            now = np.minimum(now, shares[one, option][level])
    minutes = np.full(len(rings), np.inf)
    for trial, table in enumerate(rings):
        told = [
            table[one, option][level] for one, (option, level) in chosen.items() if (one, option) in table
        ]
        if told and min(told) < limit[trial]:
            minutes[trial] = min(told)
    return Tuned(chosen, used, minutes)
