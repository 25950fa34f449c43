"""What a picture shows of a night in a real store."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from math import inf, nan, sin
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.configuration import Configuration
from collector.picture.drawing import draw
from collector.picture.gathering import sketch_of
from collector.picture.sketch import Sketch
from collector.store import Readings
from rules import Evidence, Flag, Incident, Learning, Priority
from tests.picture.night import SENT, Standing, day, edges, profile, reader, with_danger_lines, write
from tests.wording.example import HEATER, HOUR, MINUTE, NOW, configuration, incident

ONE = configuration()


def falling(at_us: int) -> float:
    return day(at_us) - max(0.0, (at_us - NOW + 2 * HOUR) / HOUR) * 0.4


def gather(
    folder: Path,
    one: Incident,
    values: Callable[[int], float | None],
    *,
    fitted: object = None,
    now_us: int = SENT,
    setup: Configuration = ONE,
    flag: Callable[[int], Flag] = lambda _: Flag.PASS,
) -> Sketch | None:
    path = write(folder, one, values, flag=flag, setup=setup)
    index = setup.series_index(one.tank, one.series[0])
    with reader(path) as record:
        standing = {} if fitted is None else {index: Standing(fitted)}
        sketch = sketch_of(record, setup, lambda: standing, one.number, now_us)
    if sketch is not None:
        assert draw(Sketch.from_data(json.loads(json.dumps(sketch.to_data()))))
    return sketch


def test_falling_temperature_has_its_band_its_danger_line_and_what_is_ahead(tmp_path: Path) -> None:
    sketch = gather(tmp_path, HEATER, falling, fitted=profile())
    assert sketch.title == "Display temperature of Reef, °C"
    assert sketch.newest == f"{falling(SENT):.1f} °C at 02:46"
    assert sketch.usual == "usual 25.3 to 25.7 °C"
    assert {(one.low, one.high) for one in sketch.band} == {(25.3, 25.7)}
    assert [(one.value, one.text) for one in sketch.limits] == [(23.0, "danger line 23.0 °C, about 04:10")]
    assert [one.text for one in sketch.moments] == ["alarm 02:45"]
    # The projection of the evidence: 03:10 UTC, between 02:50 and 04:05; the picture begins at 19:47.
    start_us = SENT - 6 * HOUR
    assert sketch.projection.at_s == (HEATER.evidence.danger_at_us - start_us) / 1e6
    assert sketch.projection.earliest_s == (HEATER.evidence.danger_earliest_us - start_us) / 1e6
    assert sketch.projection.latest_s == (HEATER.evidence.danger_latest_us - start_us) / 1e6
    assert sketch.end_s > sketch.projection.latest_s
    assert sketch.low < 23.0 < falling(NOW) < day(NOW) < sketch.high
    # Ticks are round times on the wall of the tank, an hour before UTC's by the name.
    assert [tick.text for tick in sketch.times] == ["22:00", "00:00", "02:00", "04:00"]
    assert all(tick.text.endswith(" °C") for tick in sketch.values)
    assert len(json.dumps(sketch.to_data())) < 16_000


def test_line_goes_through_the_readings_and_ends_at_the_newest(tmp_path: Path) -> None:
    sketch = gather(tmp_path, HEATER, falling)
    (run,) = sketch.lines
    start_us = SENT - 6 * HOUR
    assert 200 <= len(run) <= 240
    assert all(abs(one.value - falling(start_us + round(one.at_s * 1e6))) < 0.02 for one in run)
    assert run[-1].value == pytest.approx(falling(SENT - 30_000_000), abs=1e-3)
    assert all(one.low <= one.high for one in sketch.spread)


@pytest.mark.parametrize(
    ("minutes_ago", "hours"),
    [(10, 6), (120, 6), (121, 6 + 1 / 60), (300, 9), (480, 12), (900, 12)],
)
def test_picture_begins_some_hours_before_the_first_evidence(
    tmp_path: Path, minutes_ago: int, hours: float
) -> None:
    one = replace(HEATER, first_evidence_us=SENT - minutes_ago * MINUTE)
    sketch = gather(tmp_path, replace(one, evidence=Evidence(value=24.6)), falling)
    assert sketch.end_s == pytest.approx(hours * 3600 * (1 + 1 / 40))


def test_learning_shows_no_band_and_says_so(tmp_path: Path) -> None:
    for fitted in (None, Learning(3)):
        folder = tmp_path / str(fitted)
        folder.mkdir()
        sketch = gather(folder, HEATER, falling, fitted=fitted)
        assert sketch.band == ()
        assert sketch.usual == "no usual band yet"


def test_ph_has_no_unit_and_shows_its_limit(tmp_path: Path) -> None:
    one = incident("over_limit", "ph", Evidence(value=8.52, limit=8.5, rate_per_hour=0.1))
    sketch = gather(tmp_path, one, lambda at_us: 8.2 + max(0.0, (at_us - NOW + 3 * HOUR) / HOUR) * 0.1)
    assert sketch.title == "Display pH of Reef"
    assert [(one.text, one.is_danger, one.is_high) for one in sketch.limits] == [("limit 8.50", False, True)]
    assert all(len(tick.text) == 4 for tick in sketch.values)


def test_level_that_falls_shows_the_danger_line_below_alone(tmp_path: Path) -> None:
    setup = with_danger_lines(ONE, "water_level", 18.0, 30.0)
    one = incident("leak", "water_level", Evidence(value=20.4, rate_per_hour=-2.2), Priority.URGENT)
    sketch = gather(
        tmp_path, one, lambda at_us: 24.0 - max(0.0, (at_us - NOW + 90 * MINUTE) / HOUR) * 2.2, setup=setup
    )
    assert [one.text for one in sketch.limits] == ["danger line 18.0 cm"]
    assert sketch.title == "Sump level of Reef, cm"


def test_stuck_probe_is_a_flat_line_although_its_readings_failed(tmp_path: Path) -> None:
    one = incident("probe_stuck", "temperature", Evidence(value=25.41))
    begin_us = NOW - 3 * HOUR
    sketch = gather(
        tmp_path,
        one,
        lambda at_us: 25.41 if at_us >= begin_us else day(at_us) + 0.02 * sin(at_us),
        flag=lambda at_us: Flag.FAIL if at_us > begin_us + HOUR else Flag.PASS,
        fitted=profile(),
    )
    flat = [one.value for one in sketch.lines[0] if one.at_s > 3.1 * 3600]
    assert len(flat) > 100
    assert set(flat) == {25.41}
    assert sketch.high - sketch.low < 2.0


def test_probe_that_reads_nonsense_does_not_flatten_what_it_read_before(tmp_path: Path) -> None:
    one = incident("probe_out_of_range", "temperature", Evidence(value=-127.0))
    sketch = gather(
        tmp_path,
        one,
        lambda at_us: -127.0 if at_us > NOW - 20 * MINUTE else day(at_us),
        flag=lambda at_us: Flag.FAIL if at_us > NOW - 20 * MINUTE else Flag.PASS,
    )
    assert sketch.newest == "-127.0 °C at 02:46"
    assert sketch.low > 20.0


def test_silent_probe_ends_where_it_fell_silent(tmp_path: Path) -> None:
    one = incident("probe_silent", "temperature", Evidence(value=25.4))
    sketch = gather(tmp_path, one, lambda at_us: day(at_us) if at_us < NOW - HOUR else None)
    assert edges(sketch)[1] == pytest.approx(5.0, abs=0.1)
    assert sketch.newest.endswith("at 01:44")


def test_gap_in_the_readings_is_a_gap_in_the_line(tmp_path: Path) -> None:
    quiet = range(NOW - 2 * HOUR, NOW - HOUR)
    sketch = gather(tmp_path, HEATER, lambda at_us: None if at_us in quiet else falling(at_us))
    first, second = sketch.lines
    assert first[-1].at_s == pytest.approx((4 - 1 / 30) * 3600 + 120, abs=400)
    assert second[0].at_s - first[-1].at_s == pytest.approx(3600, abs=120)


def test_contact_is_a_step_between_words(tmp_path: Path) -> None:
    one = incident("contact_alarm", "contact", Evidence(value=1.0, limit=0.5), Priority.URGENT)
    sketch = gather(tmp_path, one, lambda at_us: float(at_us >= NOW - 2 * MINUTE))
    assert sketch.title == "Floor leak contact of Reef"
    assert [tick.text for tick in sketch.values] == ["open", "closed"]
    assert sketch.newest == "closed at 02:46"
    assert [one.value for one in sketch.lines[0]] == [0.0, 0.0, 1.0, 1.0]
    assert sketch.limits == ()
    assert sketch.usual == ""


def test_danger_that_is_far_or_past_is_not_drawn(tmp_path: Path) -> None:
    for place, at_us in enumerate((NOW + 9 * HOUR, NOW - HOUR)):
        folder = tmp_path / str(place)
        folder.mkdir()
        evidence = replace(HEATER.evidence, danger_at_us=at_us)
        sketch = gather(folder, replace(HEATER, evidence=evidence), falling)
        assert sketch.projection is None
        assert "about" in sketch.limits[0].text if at_us > NOW else "about" not in sketch.limits[0].text


def test_first_series_that_has_readings_is_shown(tmp_path: Path) -> None:
    path = write(tmp_path, HEATER, falling)
    for series in (("room", "temperature"), ("ph", "temperature")):
        with reader(path) as record:

            class Renamed:
                """The record, with an incident of other series."""

                readings, series_id = record.readings, record.series_id

                def incident(self, number: int, series: tuple[str, ...] = series) -> object:
                    known = record.incident(number)
                    changed = replace(known.record.incident, series=series)
                    return replace(known, record=replace(known.record, incident=changed))

            assert sketch_of(Renamed(), ONE, dict, 7, SENT).title.startswith("Display temperature")


def test_without_readings_there_is_no_picture(tmp_path: Path) -> None:
    assert gather(tmp_path, HEATER, lambda at_us: nan if at_us % 2 else None) is None


def test_incident_that_is_not_recorded_is_an_error(tmp_path: Path) -> None:
    with reader(write(tmp_path, HEATER, falling)) as record, pytest.raises(KeyError):
        sketch_of(record, ONE, dict, 99, SENT)


class Given:
    """A record of these readings, where a store would take too long for hundreds of examples."""

    def __init__(self, one: Incident, values: list[float]) -> None:
        self._incident = one
        times = np.arange(len(values), dtype=np.int64) * 7 * MINUTE + NOW - 5 * HOUR
        flags = np.ones(len(values), np.uint8)
        self._readings = Readings(times, np.array(values, np.float64), flags)

    def incident(self, number: int) -> object:
        return type("History", (), {"record": type("Record", (), {"incident": self._incident})})

    def series_id(self, tank: str, name: str) -> int:
        return 1

    def readings(self, series: int, start_us: int, end_us: int) -> Readings:
        return self._readings


ANY = st.floats(allow_nan=True, allow_infinity=True)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(ANY, max_size=40) | st.builds(lambda value: [value] * 40, ANY),
    st.sampled_from(["temperature", "ph", "contact", "power"]),
    st.none() | ANY,
    st.none() | ANY,
)
def test_any_values_make_a_picture_or_none(
    values: list[float], quantity: str, limit: float | None, rate: float | None
) -> None:
    evidence = Evidence(value=values[-1] if values else None, limit=limit, rate_per_hour=rate)
    one = incident("over_limit", quantity, replace(evidence, danger=28.0, danger_at_us=NOW + HOUR))
    sketch = sketch_of(Given(one, values), ONE, dict, 7, SENT)
    assert (sketch is None) == (not any(value - value == 0.0 for value in values))
    if sketch is not None:
        assert draw(Sketch.from_data(json.loads(json.dumps(sketch.to_data()))))


def test_infinite_limit_is_drawn_nowhere() -> None:
    one = incident("over_limit", "ph", Evidence(value=8.2, limit=inf))
    assert sketch_of(Given(one, [8.2] * 10), ONE, dict, 7, SENT) is not None
