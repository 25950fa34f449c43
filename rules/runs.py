"""What a block holds of each series: its readings in order of arrival, and the engine's clock at each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from rules.blocks import Block
from rules.survey import Survey, survey

# Up to so many readings plain lists are quicker than numpy.
_FEW_READINGS = 24


class Run(NamedTuple):
    """The readings of one series in a block, in order of arrival.

    Parameters
    ----------
    series
        Its index.
    sequences
        Arrival number of each reading.
    times_us, values
        As in the block.
    clocks_us
        The engine's clock at the arrival of each.
    survey
        Of many readings.
    """

    series: int
    sequences: list[int]
    times_us: list[int]
    values: list[float]
    clocks_us: list[int]
    survey: Survey | None


def runs_of(block: Block, first: int, newest_us: int, allowance_us: int) -> Iterable[Run]:
    """Part a block that holds readings by series.

    Parameters
    ----------
    block
        Its readings.
    first
        Arrival number of the first.
    newest_us
        Newest time of any reading before the block; the engine's clock is the newest less `allowance_us`.
    """
    if len(block.times_us) > _FEW_READINGS:
        return _by_columns(block, first, newest_us, allowance_us)
    if len(block.times_us) == 1:
        times_us = block.times_us.tolist()
        clocks_us = [max(newest_us, times_us[0]) - allowance_us]
        return (Run(block.series.item(), [first], times_us, block.values.tolist(), clocks_us, None),)
    # A live block holds a reading or a few, for which numpy would be the greater part of the cost.
    found: dict[int, Run] = {}
    columns = zip(block.series.tolist(), block.times_us.tolist(), block.values.tolist(), strict=True)
    for sequence, (index, time_us, value) in enumerate(columns, first):
        if time_us > newest_us:
            newest_us = time_us
        run = found.get(index)
        if run is None:
            found[index] = Run(index, [sequence], [time_us], [value], [newest_us - allowance_us], None)
        else:
            run.sequences.append(sequence)
            run.times_us.append(time_us)
            run.values.append(value)
            run.clocks_us.append(newest_us - allowance_us)
    return found.values()


def _by_columns(block: Block, first: int, newest_us: int, allowance_us: int) -> Iterable[Run]:
    clocks = np.maximum.accumulate(np.maximum(block.times_us, newest_us)) - allowance_us
    order = np.argsort(block.series, kind="stable")
    ranked = block.series[order]
    starts = np.flatnonzero(np.concatenate(([True], ranked[1:] != ranked[:-1]))).tolist()
    for start, end in zip(starts, [*starts[1:], len(ranked)], strict=True):
        where = order[start:end]
        times_us, values, clocks_us = block.times_us[where], block.values[where], clocks[where]
        yield Run(
            int(ranked[start]),
            (where + first).tolist(),
            times_us.tolist(),
            values.tolist(),
            clocks_us.tolist(),
            survey(times_us, values, clocks_us) if len(where) > _FEW_READINGS else None,
        )
