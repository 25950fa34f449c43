"""One series of the file: how its values arrive, how its readings are judged, and when it rings."""

from __future__ import annotations

from collections.abc import Collection
from itertools import pairwise
from types import MappingProxyType

from collector.configuration import Calibration, LevelTable, SeriesConfiguration
from collector.errors import BrinebellError, ConfigError
from collector.payloads import STATE_WORDS
from collector.settings.defaults import ALARM_DEFAULTS
from collector.settings.model import SeriesSettings, TankSettings
from collector.settings.quality import (
    attenuated_signal,
    climatology,
    companion,
    flat_line,
    gross_range,
    rate_of_change,
    spike,
)
from collector.settings.section import Section
from collector.settings.suggestions import instead_of
from collector.units import converter, parse_reference
from rules import (
    QUANTITIES,
    TWO_STATE,
    GapLimits,
    GrossRangeLimits,
    LimitAlarm,
    RateAlarm,
    SeriesRules,
)

PH_SCALES = ("nbs", "total", "seawater", "free")
_ONLY_NUMBERS = (
    "sensor_range",
    "usual_range",
    "spike",
    "rate_of_change",
    "rate_of_change_spread",
    "flat_line",
    "climatology",
    "attenuated_signal",
    "multivariate",
    "neighbor",
    "alarm_low",
    "alarm_high",
    "danger_low",
    "danger_high",
    "alarm_rate",
    "deadband",
    "unit",
)


def resolve_series(
    section: Section, tank: str, settings: SeriesSettings, siblings: Collection[str], around: TankSettings
) -> tuple[SeriesConfiguration, SeriesRules] | None:
    """Make both halves of a series; None where its quantity is not known.

    `siblings` are the names of all series of the tank as they are written, `around` what is right of it.
    """
    section.own_name()
    if settings.quantity not in QUANTITIES:
        section.wrong("quantity", instead_of(settings.quantity, QUANTITIES), settings.quantity)
        return None
    name = str(section.path[-1])
    _only_where_it_means_something(section, settings)
    for key in ("temperature_from", "derived_from"):
        other = getattr(settings, key)
        if other is not None and (other not in siblings or other == name):
            mend = f"a series of the same tank is needed: {instead_of(other, set(siblings) - {name})}"
            section.wrong(key, mend, other)
    arrival = _arrival(section, tank, name, settings)
    _check_unit(section, settings, arrival)
    return arrival, _rules(section, tank, name, settings, siblings, around)


def _only_where_it_means_something(section: Section, settings: SeriesSettings) -> None:
    """Note keys that say nothing about a series of this quantity."""
    quantity = settings.quantity
    two_state = quantity in TWO_STATE
    if two_state:
        for key in _ONLY_NUMBERS:
            if getattr(settings, key) is not None:
                section.wrong(key, f"a {quantity} has two states, no unit and no limits: use alarm_state")
    for key, is_right, needed in (
        ("words", two_state, "a contact or state"),
        ("inverted", two_state, "a contact or state"),
        ("alarm_state", two_state, "a contact or state"),
        ("scale", quantity == "ph", "a ph"),
        ("calibration", quantity == "ph", "a ph"),
        ("level_table", quantity == "volume", "a volume"),
        ("reference", quantity == "practical_salinity", "a practical_salinity"),
        ("derived_from", quantity == "practical_salinity", "a practical_salinity"),
    ):
        if not is_right and getattr(settings, key):
            section.wrong(key, f"means something only for {needed}, and this is a {quantity}")


def _arrival(section: Section, tank: str, name: str, settings: SeriesSettings) -> SeriesConfiguration:
    if settings.scale is not None and settings.scale not in PH_SCALES:
        section.wrong("scale", instead_of(settings.scale, PH_SCALES), settings.scale)
    return SeriesConfiguration(
        tank=tank,
        name=name,
        quantity=settings.quantity,
        title=section.title(settings.title),
        unit=settings.unit,
        scale=(settings.scale or "nbs") if settings.quantity == "ph" else None,
        words=MappingProxyType(
            {word.lower(): float(value) for word, value in (settings.words or {}).items()}
        ),
        is_inverted=settings.inverted,
        reference=settings.reference,
        calibration=_calibration(section.at("calibration"), settings),
        level_table=_level_table(section.at("level_table"), settings),
        temperature_from=settings.temperature_from,
        derived_from=settings.derived_from,
        latches=settings.latches,
    )


def _check_unit(section: Section, settings: SeriesSettings, arrival: SeriesConfiguration) -> None:
    """Note what keeps arriving values from being converted."""
    if settings.derived_from is not None:
        for key in ("unit", "reference"):
            if getattr(settings, key) is not None:
                section.wrong(key, "means nothing for a series that is computed: it arrives from no board")
        return
    if settings.reference is not None:
        try:
            parse_reference(settings.reference)
        except ConfigError as error:
            section.not_read("reference", settings.reference, error)
            return
    is_lacking = (settings.calibration is not None and arrival.calibration is None) or (
        settings.level_table is not None and arrival.level_table is None
    )
    if is_lacking:
        # A mistake that is noted already.
        return
    try:
        converter(None, arrival)
    except BrinebellError as error:
        if settings.unit is None and arrival.level_table is not None:
            section.at("level_table").not_read("unit", arrival.level_table.unit, error)
        else:
            section.not_read("unit", settings.unit or "", error)
        return
    if settings.calibration is not None and settings.unit not in ("mV", "V"):
        section.wrong("unit", 'an electrode with a calibration arrives as "mV" or "V"', settings.unit)


def _calibration(section: Section, settings: SeriesSettings) -> Calibration | None:
    given = settings.calibration
    if given is None:
        return None
    points = []
    for key, texts in (("first", given.first), ("second", given.second)):
        if len(texts) != 2:
            section.wrong(key, 'a pH and its millivolts are needed, such as ["7.00 pH", "-6.0 mV"]', texts)
            continue
        ph = section.quantity(key, texts[0], "ph")
        millivolts = section.quantity(key, texts[1], "redox_potential")
        if ph is not None and millivolts is not None:
            points.append((ph, millivolts))
    celsius = section.quantity("temperature", given.temperature, "temperature")
    if len(points) != 2 or celsius is None:
        return None
    (first_ph, first_mv), (second_ph, second_mv) = points
    if first_ph == second_ph or first_mv == second_mv:
        section.wrong(
            "second", "two buffers of different pH, with different millivolts, are needed", given.second
        )
        return None
    return Calibration(first_ph, first_mv, second_ph, second_mv, celsius)


def _level_table(section: Section, settings: SeriesSettings) -> LevelTable | None:
    given = settings.level_table
    if given is None:
        return None
    heights, litres = given.heights, given.litres
    if len(heights) < 2 or len(heights) != len(litres):
        section.wrong("litres", "as many litres as heights are needed, two at least", litres)
    elif not all(low < high for low, high in pairwise(heights)):
        section.wrong("heights", "heights must rise from row to row", heights)
    elif litres[0] < 0 or not all(low <= high for low, high in pairwise(litres)):
        section.wrong("litres", "litres must not be negative and not fall from row to row", litres)
    else:
        return LevelTable(given.unit, tuple(heights), tuple(litres))
    return None


def _rules(
    section: Section,
    tank: str,
    name: str,
    settings: SeriesSettings,
    siblings: Collection[str],
    around: TankSettings,
) -> SeriesRules:
    gap_us = section.duration("gap", settings.gap, least_s=1)
    ranges = gross_range(section, settings)
    return SeriesRules(
        tank=tank,
        name=name,
        quantity=settings.quantity,
        gross_range=ranges,
        spike=spike(section.at("spike"), settings),
        rate_of_change=rate_of_change(section, settings),
        flat_line=flat_line(section.at("flat_line"), settings),
        gap=None if gap_us is None else GapLimits(gap_us),
        climatology=climatology(section.at("climatology"), settings, around.time_zone),
        attenuated_signal=attenuated_signal(section.at("attenuated_signal"), settings),
        multivariate=companion(section, "multivariate", settings, siblings, around),
        neighbor=companion(section, "neighbor", settings, siblings, around),
        limit_alarms=_limit_alarms(section, settings, ranges),
        rate_alarm=_rate_alarm(section, settings),
        probe_priority=settings.probe_priority,
    )


def _limit_alarms(
    section: Section, settings: SeriesSettings, ranges: GrossRangeLimits | None
) -> tuple[LimitAlarm, ...]:
    quantity = settings.quantity
    default = ALARM_DEFAULTS[quantity]
    on_delay_us = section.duration("on_delay", settings.on_delay or default.on_delay) or 0
    danger_on_delay = settings.on_delay or default.danger_on_delay or default.on_delay
    danger_on_delay_us = section.duration("on_delay", danger_on_delay) or 0
    off_delay_us = section.duration("off_delay", settings.off_delay or default.off_delay) or 0
    if quantity in TWO_STATE:
        return _state_alarm(section, settings, on_delay_us, off_delay_us)
    setpoints = {
        key: section.quantity(key, getattr(settings, key), quantity)
        for key in ("danger_low", "alarm_low", "alarm_high", "danger_high")
    }
    deadband = section.quantity("deadband", settings.deadband or default.deadband, quantity, difference=True)
    if deadband is None:
        return ()
    if deadband < 0:
        section.wrong("deadband", "must not be negative", settings.deadband)
    _check_setpoints(section, settings, setpoints, deadband, ranges)
    return tuple(
        LimitAlarm(
            setpoint,
            is_high=key.endswith("high"),
            is_danger=key.startswith("danger"),
            deadband=deadband,
            on_delay_us=danger_on_delay_us if key.startswith("danger") else on_delay_us,
            off_delay_us=off_delay_us,
            priority=settings.danger_priority if key.startswith("danger") else settings.priority,
        )
        for key, setpoint in setpoints.items()
        if setpoint is not None
    )


def _check_setpoints(
    section: Section,
    settings: SeriesSettings,
    setpoints: dict[str, float | None],
    deadband: float,
    ranges: GrossRangeLimits | None,
) -> None:
    given = [(key, setpoint) for key, setpoint in setpoints.items() if setpoint is not None]
    for (lower, low), (upper, high) in pairwise(given):
        if not low < high:
            section.wrong(
                upper, f'must be above {lower}, "{getattr(settings, lower)}"', getattr(settings, upper)
            )
        elif {lower, upper} == {"alarm_low", "alarm_high"} and deadband >= high - low:
            section.wrong(
                "deadband",
                f"must be smaller than the span between alarm_low and alarm_high, {high - low:g} "
                f"{QUANTITIES[settings.quantity]}".rstrip(),
                settings.deadband or ALARM_DEFAULTS[settings.quantity].deadband,
            )
    for key, setpoint in given:
        if ranges is not None and not ranges.sensor_low <= setpoint <= ranges.sensor_high:
            section.wrong(
                key,
                "must lie within sensor_range: readings outside it fail and never ring",
                getattr(settings, key),
            )


def _state_alarm(
    section: Section, settings: SeriesSettings, on_delay_us: int, off_delay_us: int
) -> tuple[LimitAlarm, ...]:
    """An alarm half-way between the two states: 0 and 1 are on either side of it for certain."""
    if settings.alarm_state is None:
        return ()
    words = dict(STATE_WORDS) | {word.lower(): float(value) for word, value in (settings.words or {}).items()}
    value = words.get(settings.alarm_state.lower())
    if value is None:
        section.wrong("alarm_state", instead_of(settings.alarm_state, words), settings.alarm_state)
        return ()
    return (LimitAlarm(0.5, value == 1.0, False, 0.0, on_delay_us, off_delay_us, settings.priority),)


def _rate_alarm(section: Section, settings: SeriesSettings) -> RateAlarm | None:
    if settings.alarm_rate is None or settings.quantity in TWO_STATE:
        return None
    default = ALARM_DEFAULTS[settings.quantity]
    per_hour = section.rate("alarm_rate", settings.alarm_rate, settings.quantity)
    window_us = section.duration("alarm_rate_window", settings.alarm_rate_window, least_s=660, most_s=86_400)
    if per_hour is None or window_us is None:
        return None
    return RateAlarm(
        per_hour,
        window_us,
        section.duration("on_delay", settings.on_delay or default.on_delay) or 0,
        section.duration("off_delay", settings.off_delay or default.off_delay) or 0,
        settings.priority,
    )
