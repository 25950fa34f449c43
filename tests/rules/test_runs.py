"""A block parted by series: few readings and many are parted alike."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import Block
from rules.runs import runs_of

readings = st.tuples(st.integers(0, 4), st.integers(0, 10**6), st.floats(-1e3, 1e3))


def block(rows) -> Block:
    series, times_us, values = zip(*rows, strict=True)
    return Block(np.array(times_us, np.int64), np.array(values, float), np.array(series, np.int64))


@settings(max_examples=200)
@given(st.lists(readings, min_size=1, max_size=80), st.integers(0, 10**6), st.integers(0, 100))
def test_each_series_has_its_readings_in_their_order_with_the_clock_at_each(rows, newest_us, allowance_us):
    runs = list(runs_of(block(rows), 1000, newest_us, allowance_us))
    assert sum(len(run.sequences) for run in runs) == len(rows)
    assert len({run.series for run in runs}) == len(runs)
    for run in runs:
        columns = zip(run.sequences, run.times_us, run.values, run.clocks_us, strict=True)
        for sequence, time_us, value, clock_us in columns:
            place = sequence - 1000
            assert rows[place] == (run.series, time_us, value)
            assert clock_us == max(newest_us, *(one[1] for one in rows[: place + 1])) - allowance_us
        assert run.sequences == sorted(run.sequences)
        assert all(isinstance(one, int) for one in (*run.sequences, *run.times_us, *run.clocks_us))
