"""Series that a recording lacks but that are computed from others in it, as the service would have."""

from __future__ import annotations

from itertools import groupby

import numpy as np

from collector.configuration import Configuration
from collector.derivation import Derivations
from collector.recordings.recording import Recording, join


def with_derived(recording: Recording, configuration: Configuration) -> Recording:
    """Return the recording with derived series added and electrode pH at the water's temperature.

    A derived series that the recording holds is left as it was recorded.
    """
    derivations = Derivations(configuration)
    if not derivations.concerned or not len(recording):
        return recording
    recorded = set(np.unique(recording.series).tolist())
    values = recording.values.copy()
    found: list[tuple[int, float, int]] = []
    rows = zip(recording.times_us.tolist(), recording.series.tolist(), values.tolist(), strict=True)
    for time_us, together in groupby(enumerate(rows), key=lambda row: row[1][0]):
        for position, (_, series, value) in together:
            values[position] = derivations.take(series, time_us, value)
        for reading in derivations.derived():
            if reading.series not in recorded and reading.observed_us is not None:
                found.append((reading.observed_us, reading.value, reading.series))
    own = Recording(recording.times_us, values, recording.series, recording.skipped)
    if not found:
        return own
    times, derived, series = zip(*found, strict=True)
    return join([own, Recording(np.array(times, np.int64), np.array(derived), np.array(series, np.int64))])
