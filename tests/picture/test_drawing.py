"""What is drawn, as Pillow reads it back: size, grey, and where ink is; and that no value makes it fail."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from collector.picture.drawing import HEIGHT, WIDTH, draw, in_plain_letters
from collector.picture.sketch import Limit, Point, Projection, Sketch, Span, Tick
from tests.picture.examples import falling

ANY = st.floats(allow_nan=True, allow_infinity=True)
TEXT = st.text(max_size=120)
SKETCHES = st.builds(
    Sketch,
    title=TEXT,
    newest=TEXT,
    usual=TEXT,
    end_s=ANY,
    low=ANY,
    high=ANY,
    times=st.lists(st.builds(Tick, ANY, TEXT), max_size=3).map(tuple),
    values=st.lists(st.builds(Tick, ANY, TEXT), max_size=3).map(tuple),
    lines=st.lists(st.lists(st.builds(Point, ANY, ANY), max_size=4).map(tuple), max_size=3).map(tuple),
    spread=st.lists(st.builds(Span, ANY, ANY, ANY), max_size=3).map(tuple),
    band=st.lists(st.builds(Span, ANY, ANY, ANY), max_size=4).map(tuple),
    limits=st.lists(st.builds(Limit, ANY, TEXT, st.booleans(), st.booleans()), max_size=2).map(tuple),
    moments=st.lists(st.builds(Tick, ANY, TEXT), max_size=2).map(tuple),
    projection=st.none() | st.builds(Projection, ANY, ANY, ANY, ANY),
)


def pixels(sketch: Sketch) -> np.ndarray:
    with Image.open(io.BytesIO(draw(sketch))) as image:
        assert (image.format, image.mode, image.size) == ("PNG", "L", (WIDTH, HEIGHT))
        return np.asarray(image)


def dark_share(part: np.ndarray) -> float:
    return float((part < 80).mean())


def test_picture_is_a_grey_png_of_a_thousand_by_six_hundred() -> None:
    image = pixels(falling())
    assert image.shape == (600, 1000)
    # Dark ink on white, and the grey of the usual band.
    assert image.min() < 40
    assert (image == 255).mean() > 0.7
    assert (image == 218).mean() > 0.02


def test_line_is_where_its_values_are() -> None:
    """A constant value in the middle of its range is a line in the middle of the plot."""
    run = (Point(0.0, 5.0), Point(100.0, 5.0))
    image = pixels(Sketch("", "", "", end_s=100.0, low=0.0, high=10.0, lines=(run,)))
    column = image[160:535, 500]
    (rows,) = np.nonzero(column < 80)
    assert rows.size
    assert abs(160 + rows.mean() - (152 + 542) / 2) < 2
    assert np.ptp(rows) < 8


@pytest.mark.parametrize("part", ["lines", "band", "limits", "moments", "projection", "times", "values"])
def test_each_part_leaves_something_on_the_picture(part: str) -> None:
    whole = falling()
    without = replace(whole, **{part: None if part == "projection" else ()})
    assert (pixels(whole) != pixels(without)).any()


def test_gap_is_left_open() -> None:
    runs = ((Point(0.0, 5.0), Point(40.0, 5.0)), (Point(60.0, 5.0), Point(100.0, 5.0)))
    image = pixels(Sketch("", "", "", end_s=100.0, low=0.0, high=10.0, lines=runs))
    left, right = 34, 972
    middle = (left + right) // 2
    assert dark_share(image[160:535, middle - 20 : middle + 20]) == 0.0


def test_nothing_measured_is_said() -> None:
    empty = Sketch("Temperature of Reef, °C", "", "", end_s=100.0, low=0.0, high=1.0)
    assert dark_share(pixels(empty)[320:375, 300:700]) > 0.02


def test_what_runs_out_of_the_plot_writes_over_no_words() -> None:
    """A probe that falls to -127 °C leaves the plot, not a line across the clock times."""
    run = (Point(0.0, 25.0), Point(49.0, 25.0), Point(51.0, -127.0), Point(100.0, -127.0))
    image = pixels(Sketch("", "", "", end_s=100.0, low=24.0, high=26.0, lines=(run,)))
    assert dark_share(image[545:]) == 0.0
    assert dark_share(image[:150]) == 0.0


def test_long_title_is_cut_and_stays_on_the_picture() -> None:
    image = pixels(replace(falling(), title="Temperature behind the rocks on the left " * 4))
    assert dark_share(image[10:60, 985:]) == 0.0
    assert dark_share(image[10:60, 900:980]) > 0.01


def test_letters_with_accents_are_written() -> None:
    bare, accented = (pixels(replace(falling(), title=title)) for title in ("", "Salón, Küche, 珊瑚"))
    assert dark_share(accented[10:60]) > dark_share(bare[10:60]) + 0.005


@pytest.mark.parametrize(
    ("text", "plain"),
    [("Salón 25 °C…", "Salon 25 °C…"), ("Küche", "Kuche"), ("珊瑚", "??"), ("", "")],
)
def test_without_a_font_of_the_system_letters_lose_their_accents(text: str, plain: str) -> None:
    assert in_plain_letters(text) == plain


def test_sketch_survives_its_way_through_json() -> None:
    sketch = falling()
    assert Sketch.from_data(json.loads(json.dumps(sketch.to_data()))) == sketch


@settings(max_examples=60, deadline=None)
@given(SKETCHES)
def test_any_values_and_words_are_drawn(sketch: Sketch) -> None:
    again = Sketch.from_data(json.loads(json.dumps(sketch.to_data())))
    assert pixels(again).shape == (HEIGHT, WIDTH)


@settings(max_examples=40, deadline=None)
@given(st.lists(ANY, max_size=30))
def test_any_series_is_drawn_within_a_sound_frame(values: list[float]) -> None:
    run = tuple(Point(float(index), value) for index, value in enumerate(values))
    spread = tuple(Span(at_s, value, value) for at_s, value in run)
    image = pixels(replace(falling(), end_s=30.0, lines=(run,), spread=spread))
    assert math.isfinite(float(image.mean()))
