"""The process that draws: it answers with a picture, and whatever else it does is an error in time."""

from __future__ import annotations

import io
import math
import subprocess
import sys
import threading
import time
from dataclasses import replace

import pytest
from PIL import Image

from collector.picture.process import COMMAND, PictureError, picture_of
from tests.picture.examples import falling


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def test_picture_is_drawn() -> None:
    with Image.open(io.BytesIO(picture_of(falling().to_data()))) as image:
        assert image.size == (1000, 600)


def test_numbers_that_are_none_are_drawn_too() -> None:
    sketch = replace(falling(), low=math.nan, high=math.inf)
    assert picture_of(sketch.to_data())


def test_one_that_hangs_is_ended_in_time() -> None:
    begin_s = time.monotonic()
    with pytest.raises(PictureError, match=r"longer than 0\.3 s"):
        picture_of(falling().to_data(), command=python("import time; time.sleep(60)"), patience_s=0.3)
    assert time.monotonic() - begin_s < 20


def test_waiting_for_another_one_has_an_end_too() -> None:
    slow = python("import time; time.sleep(3)")
    errors: list[PictureError] = []

    def draw_slowly() -> None:
        try:
            picture_of({}, command=slow, patience_s=2.0)
        except PictureError as error:
            errors.append(error)

    thread = threading.Thread(target=draw_slowly)
    thread.start()
    time.sleep(0.3)
    with pytest.raises(PictureError, match="another one"):
        picture_of(falling().to_data(), patience_s=0.2)
    thread.join()
    assert len(errors) == 1
    assert picture_of(falling().to_data())


@pytest.mark.parametrize(
    ("command", "why"),
    [
        (python("import sys; sys.exit(3)"), "status 3"),
        (python("import os, signal; os.kill(os.getpid(), signal.SIGKILL)"), "status -9"),
        (python("raise MemoryError('no room')"), "no room"),
        (python("print('no picture')"), "status 0"),
        (["there is no such program"], "could not begin"),
    ],
)
def test_whatever_goes_wrong_there_says_why(command: list[str], why: str) -> None:
    with pytest.raises(PictureError, match=why):
        picture_of(falling().to_data(), command=command)


@pytest.mark.parametrize("sketch", [{}, {"title": 3}, {"title": object()}])
def test_sketch_that_is_none_says_why(sketch: dict[str, object]) -> None:
    with pytest.raises(PictureError):
        picture_of(sketch)


def test_help_has_an_example() -> None:
    done = subprocess.run([*COMMAND, "--help"], capture_output=True, text=True, timeout=60, check=True)
    assert "Example:" in done.stdout


def test_drawing_loads_neither_numpy_nor_the_engine() -> None:
    code = (
        "import sys, collector.picture.__main__, collector.picture.drawing;"
        "sys.exit(bool({'numpy', 'rules', 'apprise', 'sqlite3'} & set(sys.modules)))"
    )
    assert subprocess.run(python(code), check=False).returncode == 0
