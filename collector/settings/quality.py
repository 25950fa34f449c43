"""One series of the file: which quality tests it has, and with what limits."""

from __future__ import annotations

import math
import re
from collections.abc import Collection

from collector.settings.defaults import ALARM_DEFAULTS
from collector.settings.model import SeriesSettings, TankSettings
from collector.settings.section import Section
from collector.settings.suggestions import instead_of
from rules import (
    ATTENUATION_METHODS,
    SPIKE_METHODS,
    AttenuatedSignalLimits,
    ClimatologyLimits,
    CompanionLimits,
    FlatLineLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    Season,
    SpikeLimits,
)

# What a restart replays reaches so far back.
_LONGEST_WINDOW_S = 48 * 3600
_MONTHS = re.compile(r"(1[0-2]|[1-9])(?:-(1[0-2]|[1-9]))?")


def gross_range(section: Section, settings: SeriesSettings) -> GrossRangeLimits | None:
    """What the sensor can show, and what is plausible here."""
    sensor = section.pair("sensor_range", settings.sensor_range, settings.quantity)
    usual = section.pair("usual_range", settings.usual_range, settings.quantity)
    if sensor and usual and not (sensor[0] <= usual[0] and usual[1] <= sensor[1]):
        section.wrong("usual_range", "must lie within sensor_range", settings.usual_range)
        return None
    if sensor is None and usual is None:
        return None
    unbounded = (float("-inf"), float("inf"))
    return GrossRangeLimits(*(sensor or unbounded), *(usual or unbounded))


def spike(section: Section, settings: SeriesSettings) -> SpikeLimits | None:
    """How far a reading may stand apart from its neighbours."""
    given = settings.spike
    if given is None:
        return None
    suspect = section.above_zero("suspect", given.suspect, settings.quantity)
    fail = section.above_zero("fail", given.fail, settings.quantity)
    if suspect is not None and fail is not None and not suspect < fail:
        section.wrong("fail", "must be more than suspect", given.fail)
    if given.method not in SPIKE_METHODS:
        section.wrong("method", instead_of(given.method, SPIKE_METHODS), given.method)
        return None
    return None if suspect is None and fail is None else SpikeLimits(suspect, fail, given.method)


def flat_line(section: Section, settings: SeriesSettings) -> FlatLineLimits | None:
    """How long a value may stay the same."""
    given = settings.flat_line
    if given is None:
        return None
    tolerance = section.quantity("tolerance", given.tolerance, settings.quantity, difference=True)
    suspect_us = section.duration("suspect_after", given.suspect_after, least_s=1)
    fail_us = section.duration("fail_after", given.fail_after, least_s=1)
    if tolerance is not None and tolerance < 0:
        section.wrong("tolerance", "must not be negative", given.tolerance)
    elif suspect_us is not None and fail_us is not None and not suspect_us < fail_us:
        section.wrong("fail_after", "must be longer than suspect_after", given.fail_after)
    elif tolerance is not None and suspect_us is not None and fail_us is not None:
        return FlatLineLimits(tolerance, suspect_us, fail_us)
    return None


def rate_of_change(section: Section, settings: SeriesSettings) -> RateOfChangeLimits | None:
    """Rates that are suspect: a fixed one, or one by the series' own spread, or either."""
    per_hour = section.rate("rate_of_change", settings.rate_of_change, settings.quantity)
    given = settings.rate_of_change_spread
    if given is None:
        return None if per_hour is None else RateOfChangeLimits(per_hour)
    spread = section.at("rate_of_change_spread")
    window_us = spread.duration("window", given.window, least_s=3600, most_s=_LONGEST_WINDOW_S)
    least = _least_change(section, "rate_of_change_spread", given.least_change, settings)
    is_right = _is_above_zero(spread, "deviations", given.deviations)
    if window_us is None or least is None or not is_right:
        return None
    return RateOfChangeLimits(per_hour, given.deviations, window_us, least)


def climatology(section: Section, settings: SeriesSettings, time_zone: str) -> ClimatologyLimits | None:
    """What is usual at this time of day, week and year."""
    given = settings.climatology
    if given is None:
        return None
    seasons = []
    months = section.at("months")
    for text, values in (given.months or {}).items():
        found = _MONTHS.fullmatch(text)
        if found is None:
            months.wrong(text, 'months are written as numbers from 1 to 12: "6", "6-8" or "12-2"', values)
            continue
        pair = months.pair(text, values, settings.quantity)
        if pair is not None:
            first = int(found[1])
            seasons.append(Season("month", first, int(found[2] or first), *pair))
    if not (math.isfinite(given.widths) and given.widths >= 1):
        section.wrong("widths", "1 at least is needed: less would call usual values suspect", given.widths)
        return None
    return ClimatologyLimits(given.widths, tuple(seasons), time_zone)


def attenuated_signal(section: Section, settings: SeriesSettings) -> AttenuatedSignalLimits | None:
    """How little a value may move."""
    given = settings.attenuated_signal
    if given is None:
        return None
    quantity = settings.quantity
    window_us = section.duration("window", given.window, least_s=60, most_s=_LONGEST_WINDOW_S)
    suspect = section.above_zero("suspect_below", given.suspect_below, quantity)
    fail = section.above_zero("fail_below", given.fail_below, quantity)
    is_right = True
    if suspect is not None and fail is not None and not fail < suspect:
        section.wrong("fail_below", "must be less than suspect_below", given.fail_below)
        is_right = False
    if given.method not in ATTENUATION_METHODS:
        section.wrong("method", instead_of(given.method, ATTENUATION_METHODS), given.method)
        is_right = False
    if given.fewest < 2:
        section.wrong("fewest", "2 at least is needed: one reading moves by nothing", given.fewest)
        is_right = False
    if window_us is None or suspect is None or not is_right:
        return None
    return AttenuatedSignalLimits(window_us, suspect, fail, given.method, given.fewest)


def companion(
    section: Section, key: str, settings: SeriesSettings, siblings: Collection[str], around: TankSettings
) -> CompanionLimits | None:
    """Beside which other series of the tank this one is judged: of another quantity, or of the same."""
    given = settings.neighbor if key == "neighbor" else settings.multivariate
    if given is None:
        return None
    own, place = str(section.path[-1]), section.at(key)
    other = around.series.get(given.companion)
    is_right = True
    if given.companion not in siblings or given.companion == own:
        mend = (
            f"another series of the same tank is needed: {instead_of(given.companion, set(siblings) - {own})}"
        )
        place.wrong("companion", mend, given.companion)
        is_right = False
    elif other is not None and (other.quantity == settings.quantity) != (key == "neighbor"):
        wanted = (
            f"a {settings.quantity}" if key == "neighbor" else f"another quantity than {settings.quantity}"
        )
        place.wrong("companion", f"{wanted} is needed, and that is a {other.quantity}", given.companion)
        is_right = False
    for name in ("deviations", "companion_deviations"):
        is_right &= _is_above_zero(place, name, getattr(given, name))
    window_us = place.duration("window", given.window, least_s=3600, most_s=_LONGEST_WINDOW_S)
    least = _least_change(section, key, given.least_change, settings)
    if window_us is None or least is None or not is_right:
        return None
    return CompanionLimits(given.companion, given.deviations, given.companion_deviations, window_us, least)


def _is_above_zero(section: Section, key: str, value: float) -> bool:
    if math.isfinite(value) and value > 0:
        return True
    section.wrong(key, "a number above nothing is needed", value)
    return False


def _least_change(section: Section, table: str, text: str | None, settings: SeriesSettings) -> float | None:
    """The least change that means something: as given, else the deadband, a little wider than noise."""
    if text is None:
        # What is wrong with a deadband is told at its own key.
        deadband = settings.deadband or ALARM_DEFAULTS[settings.quantity].deadband or "0"
        value = section.quantity("deadband", deadband, settings.quantity, difference=True)
        return None if value is None or value < 0 else value
    place = section.at(table)
    value = place.quantity("least_change", text, settings.quantity, difference=True)
    if value is not None and value < 0:
        place.wrong("least_change", "must not be negative", text)
        return None
    return value
