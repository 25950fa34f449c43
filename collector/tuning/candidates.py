"""Which combinations of values are tried: all of them, or as many by chance as were asked for."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from itertools import product

from collector.tuning.parameters import Parameter

Candidate = tuple[str, ...]


def candidates(parameters: Sequence[Parameter], most: int, seed: int = 0) -> list[Candidate]:
    """Values for each parameter, combination by combination; the same seed gives the same ones.

    All combinations where there are no more than `most`, else that many of them, each once.
    """
    count = math.prod(len(one.values) for one in parameters)
    if count <= most:
        return list(product(*(one.values for one in parameters)))
    # Places in the full grid: each once, without writing it down.
    chance = random.Random(seed)  # noqa: S311 - nothing secret
    places = sorted(chance.sample(range(count), most))
    return [_at(parameters, place) for place in places]


def neighbours(candidate: Candidate, parameters: Sequence[Parameter]) -> list[Candidate]:
    """Combinations that differ in one value, by one step."""
    found = []
    for place, parameter in enumerate(parameters):
        at = parameter.values.index(candidate[place])
        for step in (-1, 1):
            if 0 <= at + step < len(parameter.values):
                value = parameter.values[at + step]
                found.append((*candidate[:place], value, *candidate[place + 1 :]))
    return found


def _at(parameters: Sequence[Parameter], place: int) -> Candidate:
    values = []
    for one in reversed(parameters):
        place, digit = divmod(place, len(one.values))
        values.append(one.values[digit])
    return tuple(reversed(values))
