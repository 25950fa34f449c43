"""A block: the columnar form in which readings enter the engine.

Live, a block holds what one commit carries; in replay, up to a day. What the engine says must not
depend on how a stream is cut into blocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
FlagArray = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Block:
    """Readings of any number of series, in the order in which they reached the engine.

    Parameters
    ----------
    times_us
        Shape (n,): when each value was observed, microseconds since 1970 UTC.
    values
        Shape (n,): in the canonical unit of the series; NaN where nothing was measured.
    series
        Shape (n,): index of the series in `EngineRules.series`.

    Raises
    ------
    ValueError
        If the three shapes differ.
    """

    times_us: IntArray
    values: FloatArray
    series: IntArray

    def __post_init__(self) -> None:
        if not (self.times_us.shape == self.values.shape == self.series.shape) or self.times_us.ndim != 1:
            raise ValueError(
                f"a block needs three columns of one length, got {self.times_us.shape}, "
                f"{self.values.shape} and {self.series.shape}"
            )

    def __len__(self) -> int:
        return len(self.times_us)
