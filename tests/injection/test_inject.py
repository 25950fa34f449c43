"""Computed faults against the textbook: Newton's law of cooling, conservation of salt and mass, sums."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from collector.configuration import Configuration
from collector.errors import ConfigError
from collector.injection import KINDS, How, inject
from collector.payloads import state_value
from collector.recordings import Recording, csv_text, read_csv
from collector.settings import load_configuration
from collector.units import converter
from rules import HOUR_US, physics

CHECKOUT = Path(__file__).parents[2]
DAY_US = 24 * HOUR_US
START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z
AT_US = START_US + DAY_US
EVERY_US = 5 * 60_000_000
# A tank that stands still: what a fault makes of it is all that moves.
STILL = {"temperature": 25.5, "ph": 8.2, "practical_salinity": 35.0, "sump_level": 22.0, "reservoir": 40.0}
# 400 L with 0.18 m2 of free surface: a litre is 1/1.8 cm.
LITRE_CM = 1 / 1.8


@pytest.fixture(scope="module")
def configuration() -> Configuration:
    return load_configuration(CHECKOUT / "replay_data" / "tank.toml", {})


@pytest.fixture(scope="module")
def recording(configuration: Configuration) -> Recording:
    times = np.arange(START_US, START_US + 3 * DAY_US, EVERY_US, dtype=np.int64)
    names = [one.name for one in configuration.series]
    times_us = np.repeat(times, len(names))
    series = np.tile(np.arange(len(names)), len(times))
    noise = 1e-4 * np.random.RandomState(1).standard_normal(len(series))
    return Recording(times_us, np.array([STILL[names[one]] for one in series]) + noise, series)


class Made:
    """What a fault makes of the tank, by hours after it began."""

    def __init__(self, configuration: Configuration, recording: Recording, how: How) -> None:
        self.configuration = configuration
        self.recording, self.annotation = inject(recording, configuration, how)

    def at(self, name: str, hours: float) -> float:
        index = [one.name for one in self.configuration.series].index(name)
        is_own = (self.recording.series == index) & (self.recording.times_us >= AT_US + hours * HOUR_US)
        return float(self.recording.values[is_own][0])

    def count(self, name: str, first: float, last: float) -> int:
        index = [one.name for one in self.configuration.series].index(name)
        hours = (self.recording.times_us - AT_US) / HOUR_US
        return int(((self.recording.series == index) & (hours >= first) & (hours < last)).sum())


@pytest.fixture
def make(configuration, recording):
    def made(cause: str, lasts_hours: float | None = None, **more) -> Made:
        to_us = None if lasts_hours is None else AT_US + round(lasts_hours * HOUR_US)
        return Made(configuration, recording, How(cause, "reef", AT_US, to_us, litre_cm=LITRE_CM, **more))

    return made


@pytest.mark.parametrize("hours", [1.0, 6.0, 20.0])
def test_water_without_heater_cools_by_newtons_law(make, hours):
    """T - T_end = (T_0 - T_end) exp(-t / tau); at 400 L tau = C / UA = 1.6369 MJ/K / 20 W/K = 22.735 h."""
    made = make("heater_failed_off", unheated=20.0)
    expected = 20.0 + 5.5 * math.exp(-hours / 22.735)
    assert made.at("temperature", hours) == pytest.approx(expected, abs=0.02)


def test_a_weak_heater_settles_where_it_holds_the_balance(make):
    """0.1 of 1 W/L: 40 W against 20 W/K hold the water 2 K above where it would come without."""
    made = make("heater_weak", unheated=20.0, size=0.1)
    expected = 22.0 + 3.5 * math.exp(-40.0 / 22.735)
    assert made.at("temperature", 40.0) == pytest.approx(expected, abs=0.03)


def test_a_heater_that_is_strong_enough_is_not_weak(make):
    assert make("heater_weak", unheated=20.0, size=0.5).at("temperature", 40.0) == pytest.approx(
        25.5, abs=0.01
    )


def test_a_stuck_heater_gives_what_it_has_beyond_what_the_tank_needs(make):
    """0.8 degC/h less 5.5 K / 22.735 h; the more the tank warms, the more it loses."""
    made = make("heater_stuck_on", unheated=20.0, size=0.8)
    surplus = 0.8 - 5.5 / 22.735
    expected = 25.5 + surplus * 22.735 * (1.0 - math.exp(-4.0 / 22.735))
    assert made.at("temperature", 4.0) == pytest.approx(expected, abs=0.02)


def test_repaired_the_water_comes_back_and_stays(make):
    made = make("heater_failed_off", 6.0, unheated=20.0)
    assert made.at("temperature", 6.5) < 25.0
    assert made.at("temperature", 10.0) == pytest.approx(25.5, abs=0.01)


def test_an_overdose_dilutes_and_lifts(make):
    """S2 = S1 m1 / m2: 15 L of fresh water in 400 L; 15 L on 0.18 m2 are 8.33 cm."""
    made = make("top_off_overdose", 3.0, size=5.0)
    mass = 400.0 * 1.02334
    assert made.at("practical_salinity", 3.0) == pytest.approx(35.0 * mass / (mass + 15.0 * 0.997), abs=0.005)
    assert made.at("sump_level", 3.0) == pytest.approx(22.0 + 15.0 / 1.8, abs=0.02)
    assert made.at("reservoir", 3.0) == pytest.approx(25.0, abs=0.02)
    # 4 L a day evaporate: two hours later a third of a litre of it is gone.
    assert made.at("sump_level", 5.0) == pytest.approx(22.0 + (15.0 - 4.0 / 12.0) / 1.8, abs=0.02)
    assert made.at("ph", 3.0) == pytest.approx(8.2, abs=0.001)


def test_an_overdose_ends_with_its_reservoir(make):
    made = make("top_off_overdose", size=20.0)
    assert made.at("reservoir", 3.0) == pytest.approx(0.0, abs=0.001)
    assert made.at("sump_level", 5.0) == pytest.approx(22.0 + 40.0 / 1.8, abs=0.05)


def test_limewater_drives_ph_up(make):
    """A litre in 400 L lifts pH 8.2 by about 0.13: PyCO2SYS agrees with `ph_after`, see its own tests."""
    made = make("top_off_overdose", 1.0, size=2.0, is_limewater=True)
    two_litres = physics.ph_after(400.0, 2.0, 8.2) - 8.2
    assert made.at("ph", 1.0) - 8.2 == pytest.approx(two_litres, rel=0.15)
    assert made.at("ph", 40.0) == pytest.approx(8.2, abs=0.01)


def test_a_dead_top_off_lets_salt_rise_and_the_level_fall(make):
    """4 L a day of 400 L: S2 = S1 m1 / m2 after a day and a half."""
    made = make("top_off_failed", size=4.0 / 24.0)
    mass = 400.0 * 1.02334
    assert made.at("practical_salinity", 36.0) == pytest.approx(35.0 * mass / (mass - 6.0 * 0.997), abs=0.005)
    assert made.at("sump_level", 36.0) == pytest.approx(22.0 - 6.0 / 1.8, abs=0.02)
    assert made.at("reservoir", 36.0) == pytest.approx(46.0, abs=0.02)


def test_a_leak_beside_a_top_off_takes_salt_and_the_reservoir(make):
    """What leaves is replaced by fresh water: S = S0 exp(-V_lost / V)."""
    made = make("leak", 8.0, size=3.0)
    assert made.at("practical_salinity", 8.0) == pytest.approx(35.0 * math.exp(-24.0 / 400.0), abs=0.01)
    assert made.at("reservoir", 8.0) == pytest.approx(16.0, abs=0.05)
    assert made.at("sump_level", 8.0) == pytest.approx(22.0, abs=0.01)


def test_a_leak_goes_on_when_the_reservoir_is_empty(make):
    made = make("leak", size=8.0)
    assert made.at("reservoir", 6.0) == pytest.approx(0.0, abs=0.001)
    assert made.at("sump_level", 6.0) == pytest.approx(22.0 - 8.0 / 1.8, abs=0.05)


def test_probes_show_what_is_not_there(make):
    assert make("probe_drifting", series="ph", size=0.05).at("ph", 24.0) == pytest.approx(8.25, abs=0.001)
    assert make("probe_dry", series="practical_salinity").at("practical_salinity", 0.2) < 0.01
    silent = make("probe_silent", 5.0, series="ph")
    assert (silent.count("ph", 0, 5), silent.count("ph", 5, 6), silent.count("temperature", 0, 5)) == (
        0,
        12,
        60,
    )
    dark = make("mains_power_lost", 2.0)
    assert [dark.count(name, 0, 2) for name in STILL] == [0] * 5
    assert [dark.count(name, -1, 0) for name in STILL] == [12] * 5


def test_a_stuck_probe_repeats_what_it_showed_last(make):
    made = make("probe_stuck", 5.0, series="temperature")
    assert made.at("temperature", 0.0) == made.at("temperature", 4.9) == made.at("temperature", -1 / 12)
    assert made.at("temperature", 5.0) != made.at("temperature", 4.9)


def test_noise_grows_by_as_much_as_it_should(make):
    made = make("probe_noisy", series="ph", size=20.0)
    is_own = (made.recording.series == 1) & (made.recording.times_us >= AT_US)
    assert np.std(made.recording.values[is_own]) == pytest.approx(20e-4, rel=0.25)


@pytest.mark.parametrize("cause", KINDS)
def test_nothing_changes_before_a_fault_and_the_rest_is_as_it_was(make, recording, cause):
    made = make(cause, series="practical_salinity", size=math.nan if cause != "probe_drifting" else 0.1)
    before, after = (one.times_us < AT_US for one in (recording, made.recording))
    assert made.recording.values[after] == pytest.approx(recording.values[before], abs=1e-4)
    assert made.annotation.cause == cause
    assert made.annotation.from_us == AT_US


def test_what_is_written_reads_back_the_same(make, configuration, tmp_path):
    made = make("leak", 8.0).recording
    path = tmp_path / "leak.csv"
    path.write_text(csv_text(made, configuration))
    read = read_csv(path, configuration, converter, state_value)
    assert read.skipped == ()
    assert read.times_us.tolist() == made.times_us.tolist()
    assert read.series.tolist() == made.series.tolist()
    assert read.values.tolist() == made.values.tolist()


@pytest.mark.parametrize(
    ("cause", "more", "says"),
    [
        ("leek", {}, 'did you mean "leak"'),
        ("probe_stuck", {}, "needs a probe that the recording holds"),
        ("probe_drifting", {"series": "ph"}, "needs a size: --size '0.05 pH/day'"),
        ("leak", {"from_us": START_US - 1}, "begins before the recording"),
        ("leak", {"from_us": START_US + 9 * DAY_US}, "is over before the fault begins"),
        ("leak", {"litre_cm": None}, "--litre-raises"),
    ],
)
def test_what_cannot_be_computed_says_what_it_needs(configuration, recording, cause, more, says):
    values = {"cause": cause, "tank": "reef", "from_us": AT_US, "litre_cm": LITRE_CM} | more
    with pytest.raises(ConfigError, match=says):
        inject(recording, configuration, How(**values))


@pytest.mark.parametrize(
    ("cause", "text", "size"),
    [
        ("leak", "3 L/h", 3.0),
        ("top_off_failed", "12 L/day", 0.5),
        ("heater_weak", "10 %", 0.1),
        ("probe_noisy", "12", 12),
    ],
)
def test_sizes_are_read_with_their_units(cause, text, size):
    assert KINDS[cause].size_of(text) == pytest.approx(size)


@pytest.mark.parametrize(("cause", "text"), [("leak", "3"), ("heater_weak", "much"), ("probe_stuck", "3")])
def test_sizes_that_are_none_are_refused(cause, text):
    with pytest.raises(ConfigError):
        KINDS[cause].size_of(text)
