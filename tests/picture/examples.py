"""Sketches of tanks of our own making."""

from __future__ import annotations

from math import sin

from collector.picture.sketch import Limit, Point, Projection, Sketch, Span, Tick

HOUR_S = 3600.0


def falling() -> Sketch:
    """A temperature that falls out of its usual band towards the danger line."""
    points = tuple(
        Point(at_s, 25.5 + 0.02 * sin(at_s / 300) - max(0.0, at_s / HOUR_S - 4.0) * 0.4)
        for at_s in map(float, range(0, 6 * 3600, 90))
    )
    return Sketch(
        title="Temperature of Reef, °C",
        newest="24.7 °C at 02:44",
        usual="usual 25.3 to 25.7 °C",
        end_s=9 * HOUR_S,
        low=22.9,
        high=25.9,
        times=(Tick(HOUR_S, "22:00"), Tick(3 * HOUR_S, "00:00"), Tick(5 * HOUR_S, "02:00")),
        values=(Tick(23.0, "23.0 °C"), Tick(24.0, "24.0 °C"), Tick(25.0, "25.0 °C")),
        lines=(points,),
        spread=tuple(Span(at_s, value - 0.03, value + 0.03) for at_s, value in points),
        band=tuple(Span(at_s * HOUR_S, 25.3, 25.7) for at_s in range(10)),
        limits=(Limit(23.0, "danger line 23.0 °C, about 04:10", is_high=False, is_danger=True),),
        moments=(Tick(5.7 * HOUR_S, "alarm 02:42"),),
        projection=Projection(8.0 * HOUR_S, 23.0, 7.5 * HOUR_S, 8.8 * HOUR_S),
    )
