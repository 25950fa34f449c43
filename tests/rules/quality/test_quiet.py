"""Three quiet weeks of a simulated tank raise no flag by the defaults of the file, fine probes or coarse."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from collector.settings import load_configuration
from collector.simulation import Recording, SimulatedTank, TankSettings
from rules import HOUR_US, MICROSECONDS, Flag, WeekProfile, fit_baseline, unpack
from rules.quality.suite import QualitySuite

START_US = 1_772_409_600 * MICROSECONDS
DAY_US = 24 * HOUR_US
# Least movement in half a day, and the step of a coarse probe.
SERIES = {
    "temperature": ("temperature", "0.02 degC", 0.0625),
    "ph": ("ph", "0.02 pH", 0.025),
    "practical_salinity": ("practical_salinity", "0.01", 0.05),
    "sump_level": ("water_level", "0.05 cm", 0.25),
}


@lru_cache
def quiet_weeks() -> Recording:
    tank = SimulatedTank(TankSettings(), seed=3, start_us=START_US)
    return tank.record(START_US + 21 * DAY_US, 60 * MICROSECONDS)


@pytest.mark.parametrize("is_coarse", [False, True], ids=["fine", "coarse"])
@pytest.mark.parametrize("name", SERIES)
def test_no_flag_is_raised(tmp_path, name, is_coarse):
    quantity, least, step = SERIES[name]
    path = tmp_path / "brinebell.toml"
    path.write_text(f"""
        [tanks.reef.series.{name}]
        quantity = "{quantity}"
        rate_of_change_spread = {{}}
        climatology = {{}}
        attenuated_signal = {{ suspect_below = "{least}" }}
        [[sources]]
        topic = "boards/+"
        format = "number"
        tank = "reef"
        series = "{{1}}"
    """)
    (rules,) = load_configuration(path, {}).engine.series
    recording = quiet_weeks()
    values = recording.columns[name]
    if is_coarse:
        values = np.round(values / step) * step
    learned = recording.times_us < START_US + 14 * DAY_US
    suite = QualitySuite(rules)
    usual = fit_baseline(recording.times_us[learned], values[learned], "UTC", quantity)
    assert isinstance(usual, WeekProfile)
    suite.set_band_source(usual)
    packed = suite.judge(recording.times_us.tolist(), values.tolist()).packed
    # The first day has to fill the windows; from then on there is a verdict on every reading.
    assert {flag for bits in packed for flag in unpack(bits).values()} <= {Flag.NOT_EVALUATED}
    assert not any(packed[24 * 60 :])
