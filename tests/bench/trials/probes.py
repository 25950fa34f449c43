"""What the probes of a tank publish: sampled, noisy, with a last digit, and sometimes not at all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tests.bench.trials.texture import WANDER, stretch, textures
from tests.bench.trials.truth import Truth
from tests.bench.trials.worlds import MINUTE_US, World
from tests.bench.trials.worlds import stream as random_stream

# (times_us, shown before noise, rng) -> shown before noise; NaN where nothing is published.
Change = Callable[[np.ndarray, np.ndarray, np.random.Generator], np.ndarray]


@dataclass(slots=True)
class Tampering:
    """What befalls the probes themselves: before noise is added, and after it."""

    before: dict[str, list[Change]] = field(default_factory=dict)
    after: dict[str, list[Change]] = field(default_factory=dict)

    def on_truth(self, series: str, change: Change) -> None:
        self.before.setdefault(series, []).append(change)

    def on_shown(self, series: str, change: Change) -> None:
        self.after.setdefault(series, []).append(change)


@dataclass(slots=True)
class Readings:
    """Columns of what arrived: series -> times and values, NaN left out."""

    times: dict[str, np.ndarray]
    values: dict[str, np.ndarray]

    def merged(self, names: Sequence[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Times, values and positions in `names`, in the order of time."""
        times = np.concatenate([self.times[name] for name in names])
        values = np.concatenate([self.values[name] for name in names])
        where = np.concatenate([np.full(len(self.times[name]), i, np.int64) for i, name in enumerate(names)])
        order = np.argsort(times, kind="stable")
        return times[order], values[order], where[order]


def read(world: World, truth: Truth, tampering: Tampering, *key: object) -> Readings:
    """What the probes published over a stretch of truth; the same key gives the same noise."""
    minutes = len(truth.columns["temperature"])
    end_us = truth.start_us + minutes * MINUTE_US
    every_us = world.every_s * 1_000_000
    # A row of the truth is what a minute has come to at its end; powers are those within it.
    ends_us = truth.start_us + np.arange(1, minutes + 1, dtype=np.int64) * MINUTE_US
    times, values = {}, {}
    for place, (board, names) in enumerate(world.boards.items()):
        board_rng = random_stream(world.seed, *key, board)
        lag_us = int(random_stream(world.seed, board).integers(0, every_us // 2)) + place
        at = np.arange(truth.start_us + lag_us, end_us, every_us, dtype=np.int64)
        at = at + board_rng.integers(0, 200_000, len(at))
        for name in names:
            rng = random_stream(world.seed, *key, name)
            shown = _sampled(name, at, ends_us, truth.columns[name])
            for change in tampering.before.get(name, ()):
                shown = change(at, shown, rng)
            shown = _as_shown(world, name, at, shown, rng)
            for change in tampering.after.get(name, ()):
                shown = change(at, shown, rng)
            known = np.isfinite(shown)
            times[name], values[name] = at[known], shown[known]
    return Readings(times, values)


def _sampled(name: str, at: np.ndarray, ends_us: np.ndarray, column: np.ndarray) -> np.ndarray:
    if name.endswith("_power") or name == "floor_contact":
        return column[np.clip((at - ends_us[0]) // MINUTE_US + 1, 0, len(column) - 1)]
    return np.interp(at, ends_us, column)


def _as_shown(
    world: World, name: str, at: np.ndarray, shown: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    probe = world.probes[name]
    kind = {"temperature_2": "temperature", "reactor_ph": "ph"}.get(name, name)
    if kind in WANDER:
        texture = textures()[kind]
        slow = stretch(texture.slow, int((at[-1] - at[0]) // (60 * MINUTE_US)) + 2, rng)
        hours = np.arange(len(slow), dtype=np.int64) * 60 * MINUTE_US + at[0]
        shown = shown + WANDER[kind] * np.interp(at, hours, slow)
        shown = shown + probe.noise * stretch(texture.high, len(at), rng)
    elif name.endswith("_power"):
        # A plug meters nothing where nothing flows.
        shown = np.where(shown > 0, shown + probe.noise * rng.standard_normal(len(at)), 0.0)
    elif probe.noise:
        shown = shown + probe.noise * rng.standard_normal(len(at))
    shown = np.round(np.round(shown / probe.resolution) * probe.resolution, 6)
    return np.maximum(shown, 0.0) if kind not in ("temperature", "room_temperature") else shown
