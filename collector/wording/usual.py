"""What is usual for a series, as a line of the page: the band of this hour, or why there is none yet.

While there is none it says what guards the series meanwhile.
"""

from __future__ import annotations

from types import MappingProxyType

from collector.display_units import CANONICAL, DisplayUnits
from collector.units.display import display
from collector.wording.times import clock_text
from rules import DAYS_NEEDED, HOUR_US, TWO_STATE, Learning, PoorFit, SeriesRules, WeekProfile

# A night or two may fail before it is worth a word.
_FRESH_US = 3 * 24 * HOUR_US
# The band is as wide on both sides; nobody expects these below zero.
_NEVER_NEGATIVE = frozenset({"power", "volume", "flow", "relative_humidity", "dissolved_oxygen"})
_POOR = MappingProxyType(
    {
        "coverage": "its days do not resemble each other",
        "width": "it varies as widely as its limits allow",
        "skill": "it drifts for days from one end to the other",
    }
)


def usual_text(
    fitted: WeekProfile | Learning | PoorFit | None,
    rules: SeriesRules,
    now_us: int,
    units: DisplayUnits = CANONICAL,
) -> str:
    """Word it: "25.2 to 25.6 °C", or "learning, day 3 of 7: limits and rate guard meanwhile".

    Parameters
    ----------
    fitted
        The newest fit of the series; None where there was none yet.
    rules
        What is known of the series; one of two states has nothing usual, which is "".
    now_us
        Decides the hour.
    units
        In which it is told.
    """
    if rules.quantity in TWO_STATE:
        return ""
    if isinstance(fitted, WeekProfile):
        return _band_text(fitted, rules.quantity, now_us, units)
    if isinstance(fitted, PoorFit):
        return f"no usual pattern, {_POOR[fitted.reason]}: {guards_text(rules)}"
    day = min(DAYS_NEEDED, 1 + (0 if fitted is None else fitted.days))
    return f"learning, day {day} of {DAYS_NEEDED}: {guards_text(rules)} meanwhile"


def guards(rules: SeriesRules) -> tuple[str, ...]:
    """What watches a series that has no baseline, in words."""
    watched = {
        "limits": bool(rules.limit_alarms),
        "rate": rules.rate_alarm is not None,
        "flat line": rules.flat_line is not None,
        "spikes": rules.spike is not None,
        "silence": rules.gap is not None,
    }
    return tuple(word for word, is_there in watched.items() if is_there)


def guards_text(rules: SeriesRules) -> str:
    """As part of a sentence: "limits, rate and flat line guard"; faults need no baseline to be told."""
    words = (*guards(rules), "fault signs")
    return f"{', '.join(words[:-1])} and {words[-1]} guard" if len(words) > 1 else f"only {words[0]} guard"


def _band_text(fitted: WeekProfile, quantity: str, now_us: int, units: DisplayUnits) -> str:
    band = fitted.band_at(now_us)
    least = max(0.0, band.low) if quantity in _NEVER_NEGATIVE else band.low
    low, high = display(least, quantity, units), display(band.high, quantity, units)
    unit = high.partition(" ")[2]
    text = f"{low.removesuffix(unit).rstrip()} to {high}"
    if fitted.until_us and now_us - fitted.until_us > _FRESH_US:
        return f"{text}, as of {clock_text(fitted.until_us, now_us, fitted.time_zone)}"
    return text
