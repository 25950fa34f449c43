"""What the example configuration says of pH scales, against a carbonate system library."""

from __future__ import annotations

import warnings

import pytest


def test_an_nbs_probe_reads_0_14_above_the_total_scale_in_seawater():
    """PyCO2SYS 1.8 with Lueker et al. 2000: total 8.000 at salinity 35 and 25 degC is NBS 8.137."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import PyCO2SYS

        solved = PyCO2SYS.sys(
            par1=8.0,
            par1_type=3,
            par2=2500.0,
            par2_type=1,
            salinity=35.0,
            temperature=25.0,
            opt_pH_scale=1,
            opt_k_carbonic=10,
        )
    assert float(solved["pH_nbs"]) - 8.0 == pytest.approx(0.137, abs=0.002)
