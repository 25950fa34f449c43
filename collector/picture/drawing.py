"""A sketch drawn: a PNG in grey, dark on white, with letters large enough for a phone.

The only module that knows Pillow. It is drawn twice as large and made smaller at the end, which smooths
lines and letters. Nothing here depends on colour, and no value makes it fail.
"""

from __future__ import annotations

import io
import math
import unicodedata
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import pairwise
from typing import TypeAlias

from PIL import Image, ImageDraw, ImageFont

from collector.picture.sketch import Limit, Projection, Sketch, Span, Tick

WIDTH, HEIGHT = 1000, 600
_SCALE = 2
_WHITE, _BAND, _GRID, _MID, _INK = 255, 218, 232, 110, 20
# Where the plot lies; its left edge follows the words of its ticks.
_TOP, _RIGHT, _BOTTOM = 152, 972, 542
_MARGIN = 22
_GAP = 12
_BESIDE = 26
_TITLE, _WORDS, _TICKS = 42, 34, 30
_SMALLEST = 30
# Of a title: beyond it letters would be too small to read.
_MOST_CHARACTERS = 80
# What the letters that come with Pillow can write; for anything else a font of the system is looked for.
_PLAIN = frozenset(map(chr, range(32, 127))) | {"°", "…"}
_SYSTEM_FONT = "DejaVuSans.ttf"

Place: TypeAlias = tuple[float, float]
_Font: TypeAlias = ImageFont.FreeTypeFont | ImageFont.ImageFont


def draw(sketch: Sketch) -> bytes:
    """Return the picture as PNG, 1000 by 600."""
    picture = _Picture(sketch)
    picture.plot()
    picture.write()
    small = picture.image.reduce(_SCALE)
    file = io.BytesIO()
    small.save(file, "PNG", optimize=True)
    return file.getvalue()


class _Picture:
    """A drawing under way; places are in pixels of the finished picture."""

    def __init__(self, sketch: Sketch) -> None:
        self._sketch = sketch
        self.image = Image.new("L", (WIDTH * _SCALE, HEIGHT * _SCALE), _WHITE)
        self._pen = ImageDraw.Draw(self.image)
        widest = max((_width(tick.text, _TICKS) for tick in sketch.values), default=0.0)
        self._left = min(_MARGIN + widest + _GAP, WIDTH / 3)
        span = sketch.high - sketch.low
        self._is_plain = sketch.end_s > 0 and math.isfinite(span) and span > 0

    def plot(self) -> None:
        """Band, limits, what is ahead and what was measured, the later ones on top; then what is around."""
        sketch = self._sketch
        if self._is_plain:
            self._polygon(sketch.band)
            self._grid()
            for limit in sketch.limits:
                self._limit(limit)
            for moment in sketch.moments:
                self._moment(moment)
            if sketch.projection is not None:
                self._project(sketch.projection)
            self._values()
            self._frame()
        self._line([(self._left, _TOP), (self._left, _BOTTOM), (_RIGHT, _BOTTOM)], 2, _MID)
        if not any(sketch.lines):
            middle = ((self._left + _RIGHT) / 2, (_TOP + _BOTTOM) / 2)
            self._text(middle, "no readings in this time", _WORDS, "mm")

    def write(self) -> None:
        """The title, the newest value, what is usual."""
        sketch = self._sketch
        room = WIDTH - 2 * _MARGIN
        title = sketch.title[:_MOST_CHARACTERS]
        size = _TITLE
        while size > _SMALLEST and _width(title, size) > room:
            size -= 2
        while len(title) > 1 and _width(title, size) > room:
            title = title[:-2].rstrip() + "…"
        self._text((_MARGIN, 34), title, size, "lm")
        self._text((_MARGIN, 86), sketch.newest, _WORDS, "lm")
        if sketch.usual:
            at = _MARGIN + _width(sketch.newest, _WORDS) + 36
            if sketch.band:
                self._box(at, 70, at + 44, 102, _BAND)
                at += 44 + _GAP
            self._text((at, 86), sketch.usual, _WORDS, "lm", _INK)

    # -- what the plot holds -----------------------------------------------------------------------

    def _polygon(self, band: Sequence[Span]) -> None:
        known = [one for one in band if math.isfinite(one.low) and math.isfinite(one.high)]
        top = [self._place(one.at_s, one.high) for one in known]
        bottom = [self._place(one.at_s, one.low) for one in reversed(known)]
        if len(known) > 1:
            self._pen.polygon([_scaled(place) for place in (*top, *bottom)], fill=_BAND)

    def _grid(self) -> None:
        for tick in self._sketch.values:
            _, y = self._place(0, tick.at)
            if _TOP <= y <= _BOTTOM:
                self._line([(self._left, y), (_RIGHT, y)], 1, _GRID)

    def _values(self) -> None:
        for one in self._sketch.spread:
            if math.isfinite(one.low) and math.isfinite(one.high):
                self._line([self._place(one.at_s, one.low), self._place(one.at_s, one.high)], 2, _MID)
        for run in self._sketch.lines:
            places = [self._place(one.at_s, one.value) for one in run if math.isfinite(one.value)]
            if len(places) > 1:
                self._line(places, 5)
            elif places:
                self._dot(places[0], 5)
        if self._newest is not None:
            self._dot(self._newest, 9)

    def _limit(self, limit: Limit) -> None:
        _, y = self._place(0, limit.value)
        if _TOP <= y <= _BOTTOM:
            self._dashes((self._left, y), (_RIGHT, y), 5 if limit.is_danger else 2, 22, 12)

    def _limit_words(self, limit: Limit) -> None:
        _, y = self._place(0, limit.value)
        if _TOP <= y <= _BOTTOM:
            # On the side from which the value comes.
            y += _BESIDE if limit.is_high else -_BESIDE
            self._text((self._left + _GAP, y), limit.text, _TICKS, "lm")

    def _moment(self, moment: Tick) -> None:
        x, _ = self._place(moment.at, 0.0)
        self._dashes((x, _TOP), (x, _BOTTOM), 3, 5, 7)

    def _moment_words(self, moment: Tick) -> None:
        x, _ = self._place(moment.at, 0.0)
        half = _width(moment.text, _TICKS) / 2
        x = min(max(x, self._left + half), WIDTH - _MARGIN / 2 - half)
        self._text((x, _TOP - 22), moment.text, _TICKS, "mm")

    def _project(self, ahead: Projection) -> None:
        if self._newest is None or not math.isfinite(ahead.value):
            return
        end = self._place(ahead.at_s, ahead.value)
        self._dashes(self._newest, end, 4, 10, 10)
        first, second = (self._place(at_s, ahead.value) for at_s in (ahead.earliest_s, ahead.latest_s))
        # Wider than the danger line on which it lies.
        self._line([first, second], 14)

    def _frame(self) -> None:
        """Take away what ran out of the plot, and write around it."""
        self._box(0, 0, self._left - 1, HEIGHT, _WHITE)
        self._box(0, 0, WIDTH, _TOP - 1, _WHITE)
        self._box(_RIGHT + 1, 0, WIDTH, HEIGHT, _WHITE)
        self._box(0, _BOTTOM + 1, WIDTH, HEIGHT, _WHITE)
        for tick in self._sketch.values:
            _, y = self._place(0, tick.at)
            if _TOP <= y <= _BOTTOM:
                self._text((self._left - _GAP, y), tick.text, _TICKS, "rm")
        for tick in self._sketch.times:
            x, _ = self._place(tick.at, 0.0)
            self._line([(x, _BOTTOM), (x, _BOTTOM + 8)], 2, _MID)
            self._text((x, _BOTTOM + 32), tick.text, _TICKS, "mm")
        for limit in self._sketch.limits:
            self._limit_words(limit)
        for moment in self._sketch.moments:
            self._moment_words(moment)

    @property
    def _newest(self) -> Place | None:
        points = [one for run in self._sketch.lines for one in run if math.isfinite(one.value)]
        return self._place(points[-1].at_s, points[-1].value) if points else None

    # -- the pen -----------------------------------------------------------------------------------

    def _place(self, at_s: float, value: float) -> Place:
        """Where an instant and a value lie; what lies far outside, or is no number, comes to lie outside."""
        sketch = self._sketch
        across = at_s / sketch.end_s
        down = (sketch.high - value) / (sketch.high - sketch.low)
        return (
            self._left + min(max(-0.5, across), 1.5) * (_RIGHT - self._left),
            _TOP + min(max(-0.5, down), 1.5) * (_BOTTOM - _TOP),
        )

    def _line(self, places: Iterable[Place], width: float, ink: int = _INK) -> None:
        self._pen.line(
            [_scaled(place) for place in places], fill=ink, width=round(width * _SCALE), joint="curve"
        )

    def _dashes(self, begin: Place, end: Place, width: int, dash: int, gap: int) -> None:
        length = math.dist(begin, end)
        edges = [*_steps(length, dash, gap), length]
        for number, (first, last) in enumerate(pairwise(edges)):
            if number % 2 == 0:
                self._line([_between(begin, end, first / length), _between(begin, end, last / length)], width)

    def _dot(self, place: Place, radius: int) -> None:
        x, y = place
        corners = [_scaled((x - radius, y - radius)), _scaled((x + radius, y + radius))]
        self._pen.ellipse(corners, fill=_INK)

    def _box(self, left: float, top: float, right: float, bottom: float, ink: int) -> None:
        self._pen.rectangle([_scaled((left, top)), _scaled((right, bottom))], fill=ink)

    def _text(self, place: Place, text: str, size: int, anchor: str, ink: int = _INK) -> None:
        font, text = _written(text, size)
        self._pen.text(
            _scaled(place), text, fill=ink, font=font, anchor=anchor, stroke_width=6, stroke_fill=_WHITE
        )


def _steps(length: float, dash: int, gap: int) -> list[float]:
    """Where dashes begin and end along a length."""
    found, at = [], 0.0
    while at < length:
        found.append(at)
        at += dash if len(found) % 2 else gap
    return found


def _between(begin: Place, end: Place, share: float) -> Place:
    return begin[0] + share * (end[0] - begin[0]), begin[1] + share * (end[1] - begin[1])


def _scaled(place: Place) -> Place:
    return place[0] * _SCALE, place[1] * _SCALE


def _width(text: str, size: int) -> float:
    font, text = _written(text, size)
    return float(font.getlength(text)) / _SCALE


def _written(text: str, size: int) -> tuple[_Font, str]:
    """A font for a text, and the text as that font can write it."""
    text = " ".join(text.split())
    if set(text) <= _PLAIN:
        return _plain_font(size), text
    font = _system_font(size)
    return (_plain_font(size), in_plain_letters(text)) if font is None else (font, text)


def in_plain_letters(text: str) -> str:
    """Write a text with the letters that come with Pillow: an "e" without its accent rather than a box."""
    bare = (one if one in _PLAIN else unicodedata.normalize("NFKD", one) for one in text)
    kept = (one for one in "".join(bare) if not unicodedata.combining(one))
    return "".join(one if one in _PLAIN else "?" for one in kept)


@cache
def _plain_font(size: int) -> _Font:
    return ImageFont.load_default(size * _SCALE)


@cache
def _system_font(size: int) -> _Font | None:
    try:
        return ImageFont.truetype(_SYSTEM_FONT, size * _SCALE)
    except OSError:
        return None
