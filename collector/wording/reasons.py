"""One reason of an alarm as a line: what was seen, how much, against what."""

from __future__ import annotations

from types import MappingProxyType

from collector.display_units import CANONICAL, DisplayUnits
from collector.units.display import display, display_difference
from collector.wording.times import duration_text
from rules import Reason, Sign

# What a reason shows, and how its number reads: as a value of the series, as a difference of two such,
# as a change per hour, or as a length of time in hours.
_WORDS = MappingProxyType(
    {
        Sign.LEVEL: ("value", "value"),
        Sign.BAND: ("value against the usual at this hour", "value"),
        Sign.SLOPE: ("slope", "rate"),
        Sign.CHANGE: ("change", "difference"),
        Sign.DRIFT: ("slow drift", "difference"),
        Sign.NEIGHBOR: ("difference from the second probe", "difference"),
        Sign.NOISE: ("noise of single readings", "difference"),
        Sign.FLAT: ("value that does not move", "value"),
        Sign.POWER: ("power", "value"),
        Sign.ROOM: ("room", "value"),
        Sign.BALANCE: ("change that the balance of water and salt asks for", "rate"),
        Sign.ALKALINITY: ("rise by limewater", "alkalinity"),
        Sign.SILENCE: ("time without a reading", "hours"),
        Sign.CONTACT: ("contact", "value"),
    }
)


def reason_text(reason: Reason, title: str, quantity: str | None, units: DisplayUnits = CANONICAL) -> str:
    """Word a reason: "Water temperature, slope: -0.31 degC/h over 1 h, usual -0.1 to 0.1 degC/h".

    Parameters
    ----------
    title, quantity
        Of the series that it is about; None for a quantity that is not known any more.
    units
        In which it is told.
    """
    words, kind = _WORDS[reason.sign]
    line = f"{title}, {words}"
    if reason.value is not None:
        line += f": {_number(reason.value, kind, quantity, units)}"
    if reason.window_us is not None:
        line += f" over {duration_text(reason.window_us)}"
    low, high = (
        None if side is None else _number(side, kind, quantity, units) for side in (reason.low, reason.high)
    )
    if low is not None and high is not None:
        line += f", expected {low} to {high}"
    elif low is not None:
        line += f", expected at least {low}"
    elif high is not None:
        line += f", expected at most {high}"
    return f"{line} (speaks against it)" if reason.speaks_against else line


def _number(value: float, kind: str, quantity: str | None, units: DisplayUnits) -> str:
    if kind == "hours":
        return f"{value:.1f} h"
    if kind == "alkalinity":
        return display_difference(value, "alkalinity", units)
    if kind == "value":
        return f"{value:g}" if quantity is None else display(value, quantity, units)
    size = f"{value:g}" if quantity is None else display_difference(value, quantity, units)
    return f"{size}/h" if kind == "rate" else size
