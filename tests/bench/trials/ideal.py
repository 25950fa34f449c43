"""The theoretical best: a CUSUM that knows the fault's course and the noise. How early could anybody know?

At each cell of five minutes it adds by how much the readings are likelier with the fault's own course than
without (the logarithm of that ratio), over the four basic series; noise is that of the tank's fortnight
about its mean day, whitened by a first-order autoregression. It rings when the sum from the fault's start
has reached ln(cells between two false alarms): a CUSUM with that threshold rings falsely no more often
(Lorden 1971). No real watcher knows the course; one that knows where the thermostat turns the water may
still be sooner, for to this one the thermostat's own swing is noise.
"""

from __future__ import annotations

import math

import numpy as np

from tests.bench.trials.cells import medians
from tests.bench.trials.trial import Played, learned, play, world_key
from tests.bench.trials.worlds import BASIC, MINUTE_US

CELLS_A_MONTH = 30 * 288
# A course in the mean is not what these faults have: they stand still, scatter, or say nothing.
WITHOUT_COURSE = (
    "probe_stuck",
    "probe_noisy",
    "probe_silent",
    "device_offline",
    "mains_power_lost",
    "floor_wet",
)


def best_minutes(played: Played, false_a_month: float) -> float | None:
    """Minutes until the CUSUM rings, None where it does not within the horizon."""
    clean = play(played.case.name, played.seed, played.world.volume, is_clean=True)
    known = learned(world_key(played.case, played.seed, played.world.volume))
    count = int((played.to_us - played.at_us) // (5 * MINUTE_US))
    total = np.zeros(count)
    names = BASIC if "reactor" not in played.case.name else ("reactor_ph",)
    for name in names:
        step_us = 5 * MINUTE_US
        start_us = known.now_us - 14 * 288 * step_us
        own = medians(known.readings.times[name], known.readings.values[name], start_us, known.now_us, 5, 2)
        days = own[: 14 * 288].reshape(14, 288)
        rest = (days - np.nanmedian(days, axis=0)).ravel()
        pairs = np.isfinite(rest[1:]) & np.isfinite(rest[:-1])
        before, after = rest[:-1][pairs], rest[1:][pairs]
        keep = float(np.clip(before @ after / max(before @ before, 1e-12), 0.0, 0.995))
        resolution = played.world.probes[name].resolution
        steps = after - keep * before
        # Feeding and water changes are in the fortnight, too: the inner 98 % are the noise.
        low, high = np.quantile(steps, (0.01, 0.99))
        variance = max(float(np.var(steps[(steps >= low) & (steps <= high)])), (resolution / 4) ** 2)
        columns = [
            medians(p.readings.times[name], p.readings.values[name], played.at_us, played.to_us, 5, 2)[:count]
            for p in (played, clean)
        ]
        course = columns[0] - columns[1]
        course = np.where(np.isfinite(course), course, 0.0)
        # What thermostat and top-off would have done meanwhile cannot be known: an hour's mean.
        course = np.convolve(np.concatenate((np.zeros(11), course)), np.ones(12) / 12, "valid")
        white = course - keep * np.concatenate(([0.0], course[:-1]))
        total += white * white / 2 / variance
    # Expected log-likelihood ratio of the fault's own course, summed over the cells since it began.
    reached = np.flatnonzero(np.cumsum(total) >= math.log(CELLS_A_MONTH / max(false_a_month, 1e-3)))
    return float((reached[0] + 1) * 5) if len(reached) else None
