"""The trade-off of a search as a plot: false alarms across, mean delay upwards, a mark for each setting."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from collector.axes import value_range, value_ticks
from collector.pages.ticks import Tick
from collector.tuning import Chosen, Tried, values_text

_DIGIT = 0.1


@dataclass(frozen=True, slots=True)
class Point:
    """A setting: its place in per cent, its shape, and its words; `name` is written beside it."""

    x: float
    y: float
    shape: str
    words: str
    name: str = ""

    @property
    def anchor(self) -> str:
        """Which end of its name stands at it."""
        return "end" if self.x > 60 else "start"


@dataclass(frozen=True, slots=True)
class TradeOff:
    """The plot; `line` joins what no other setting beats, in a square of 1000 by 1000."""

    points: tuple[Point, ...]
    line: str
    across: tuple[Tick, ...]
    upwards: tuple[Tick, ...]
    words: str


def trade_off(chosen: Chosen, tried: Sequence[Tried]) -> TradeOff | None:
    """Lay it out; None where nothing that was tried tells of anything."""
    known = [one for one in (chosen.before, *tried) if not math.isnan(one.delay_hours)]
    if not known:
        return None
    most = max(1, *(one.false for one in known))
    low, high = value_range(
        min(one.delay_hours for one in known), max(one.delay_hours for one in known), (), _DIGIT
    )
    low = max(low, 0.0)

    def place(one: Tried) -> tuple[float, float]:
        return (
            round(4 + 92 * one.false / most, 2),
            round(100 * (high - one.delay_hours) / (high - low), 2),
        )

    points = []
    # The two that matter come last, and so lie on top.
    for one in [
        *(one for one in known if one not in (chosen.before, chosen.best)),
        chosen.before,
        chosen.best,
    ]:
        if math.isnan(one.delay_hours):
            continue
        name = "best" if one is chosen.best else "as it is" if one is chosen.before else ""
        if one is chosen.best is chosen.before:
            name = "as it is, and best"
        shape = "crossed" if one.missed else "filled" if name else "open"
        values = "as it is" if one is chosen.before else values_text(one.candidate)
        missed = f", {one.missed} missed" if one.missed else ""
        points.append(
            Point(
                *place(one),
                shape,
                f"{values}: {one.false} false, mean delay {one.delay_hours:.1f} h{missed}",
                name,
            )
        )
    front = sorted(place(one) for one in chosen.front if not math.isnan(one.delay_hours))
    step = max(1, -(-most // 6))
    return TradeOff(
        tuple(points),
        "M" + " ".join(f"{10 * x:.0f},{10 * y:.0f}" for x, y in front) if len(front) > 1 else "",
        tuple(Tick(round(4 + 92 * count / most, 2), str(count)) for count in range(0, most + 1, step)),
        tuple(
            Tick(round(100 * (high - value) / (high - low), 2), f"{value:g}")
            for value in value_ticks(low, high, _DIGIT)
        ),
        f"False alarms against mean delay of {len(known)} settings.",
    )
