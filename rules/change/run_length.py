"""Average run lengths: after how many values does a chart ring, where nothing has changed and where it has?

Theory of operation
-------------------
Both charts are Markov chains over the states in which they have not rung. The mean number of values until
they leave these states fulfils an integral equation, which is solved at Gauss-Legendre nodes. It is computed
where a chart is designed and in tests, never at a step.

Values are independent and normal here. Residuals of telemetry are neither, so charts are fed with medians of
several hours, and their measured rate of false alarms stands beside the designed one.

References
----------
Page (1954), Goel and Wu (1971): equation of the CUSUM. Crowder (1987): of the EWMA. Siegmund (1985): the
closed approximation, as in Montgomery, Introduction to Statistical Quality Control (formula from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from rules.blocks import FloatArray
from rules.change.ewma import control_limit

_NODES = 60
# Half of what a random walk overshoots a boundary on average is 0.583 standard deviations (Siegmund).
_OVERSHOOT = 1.166


def siegmund_run_length(allowance: float, limit: float, shift: float = 0.0) -> float:
    """Approximate the run length of a one-sided CUSUM; all in standard deviations."""
    drift = shift - allowance
    height = limit + _OVERSHOOT
    if abs(drift) < 1e-9:
        return height * height
    return (math.exp(-2.0 * drift * height) + 2.0 * drift * height - 1.0) / (2.0 * drift * drift)


def two_sided(above: float, below: float) -> float:
    """Run length of two one-sided charts that are read together."""
    return 1.0 / (1.0 / above + 1.0 / below)


def cusum_run_length(allowance: float, limit: float, shift: float = 0.0) -> float:
    """Run length of a two-sided CUSUM that starts at zero.

    Parameters
    ----------
    allowance, limit, shift
        k, h and the shift of the mean, in standard deviations.
    """
    return two_sided(_one_sided(allowance, limit, shift), _one_sided(allowance, limit, -shift))


def _one_sided(allowance: float, limit: float, shift: float) -> float:
    """From zero: L(z) = 1 + L(0) P(back to zero) + integral of L(y) p(z to y)."""
    nodes, weights = _nodes(0.0, limit)
    # The state zero holds probability of its own: it is one more node.
    states = np.concatenate(([0.0], nodes))
    kernel = np.empty((len(states), len(states)))
    kernel[:, 0] = [_cumulative(allowance - state - shift) for state in states]
    kernel[:, 1:] = _density(nodes[None, :] + allowance - shift - states[:, None]) * weights
    return float(np.linalg.solve(np.eye(len(states)) - kernel, np.ones(len(states)))[0])


def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Run length of an EWMA with constant limits that starts on its target.

    Parameters
    ----------
    weight, width
        Lambda and L.
    shift
        Of the mean, in standard deviations of single values.
    """
    limit = control_limit(weight, width)
    nodes, weights = _nodes(-limit, limit)
    states = np.concatenate(([0.0], nodes))
    moves = (nodes[None, :] - (1.0 - weight) * states[:, None]) / weight - shift
    kernel = np.zeros((len(states), len(states)))
    kernel[:, 1:] = _density(moves) * weights / weight
    return float(np.linalg.solve(np.eye(len(states)) - kernel, np.ones(len(states)))[0])


def cusum_limit(allowance: float, run_length: float) -> float:
    """Return h for a wanted run length without a change; to 0.001 standard deviations."""
    return _reaching(lambda limit: cusum_run_length(allowance, limit), run_length)


def ewma_width(weight: float, run_length: float) -> float:
    """Return L for a wanted run length without a change; to 0.001 standard deviations."""
    return _reaching(lambda width: ewma_run_length(weight, width), run_length)


def _reaching(run_length_of: Callable[[float], float], run_length: float) -> float:
    """Where a growing run length reaches what is wanted."""
    # Upwards in small strides: far beyond it the equation is near to singular.
    high = 0.5
    while run_length_of(high) < run_length:
        high += 0.5
    low = high - 0.5
    while high - low > 0.001:
        middle = (low + high) / 2
        low, high = (low, middle) if run_length_of(middle) > run_length else (middle, high)
    return high


def _nodes(low: float, high: float) -> tuple[FloatArray, FloatArray]:
    places, weights = np.polynomial.legendre.leggauss(_NODES)
    return low + (high - low) * (places + 1.0) / 2.0, weights * (high - low) / 2.0


def _density(values: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * values * values) / math.sqrt(2.0 * math.pi))


def _cumulative(value: float) -> float:
    return 0.5 * math.erfc(-value / math.sqrt(2.0))
