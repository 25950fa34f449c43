"""The model of a tank's heat, as a line: how it follows the room, what heater and chiller do, or why not.

Without a time constant a danger line is projected by what a tank of this volume usually has.
"""

from __future__ import annotations

from collections.abc import Collection

from collector.display_units import CANONICAL, DisplayUnits
from collector.units.display import display_difference
from collector.wording.times import clock_text
from rules import HeatModel, NotFitted

_MEANWHILE = "projections go by the volume"


def heat_text(
    fitted: HeatModel | NotFitted | None,
    roles: Collection[str],
    time_zone: str,
    fitted_us: int,
    now_us: int,
    units: DisplayUnits = CANONICAL,
) -> str:
    """Word it: "time constant 22.7 h (± 0.9 h), heater +0.92 °C/h at 398 W, as of 03:30, from 28 days".

    Parameters
    ----------
    fitted
        The newest fit of the tank; None where there was none yet.
    roles
        That series of the tank have, which says why something is not known.
    time_zone
        On whose clock it is told when it was fitted.
    fitted_us, now_us
        When it was fitted, and now.
    units
        In which it is told.
    """
    if fitted is None:
        return f"not fitted yet, that is done in the night: {_MEANWHILE}"
    when = f"as of {clock_text(fitted_us, now_us, time_zone)}"
    if isinstance(fitted, NotFitted):
        return f"not known: {fitted.reason}; {when}, {_MEANWHILE}"
    known = [
        f"{name} {'+' if effect > 0 else '-'}{display_difference(abs(effect), 'temperature', units)}/h"
        + (f" at {watts:.0f} W" if watts is not None and watts > 1.0 else "")
        for name, effect, watts in (
            ("heater", fitted.heater_per_hour, fitted.heater_watts),
            ("chiller", fitted.chiller_per_hour, fitted.chiller_watts),
        )
        if effect is not None
    ]
    if fitted.time_constant_hours is not None:
        error = fitted.time_constant_error
        doubt = "" if error is None else f" (± {error:.1f} h)"
        known.insert(0, f"time constant {fitted.time_constant_hours:.1f} h{doubt}")
        return f"{', '.join(known)}, {when}, from {fitted.days:.0f} days"
    text = f"no time constant, {_why_none(roles)}; {_MEANWHILE}"
    return f"{text}; {', '.join(known)}, {when}" if known else f"{text}; {when}"


def _why_none(roles: Collection[str]) -> str:
    if "room_temperature" not in roles:
        return "for no series tells the room's temperature"
    if not {"heater_power", "chiller_power"} & set(roles):
        return "for no series tells when heater or chiller work"
    return "for room and equipment have changed too little to show it"
