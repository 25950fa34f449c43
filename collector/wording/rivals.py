"""What tells one cause from another that explains the same: a look that a half-asleep person can take.

A few words a pair, to follow the rival's name and a colon ("Or probe dry: is the probe under water?"), that
read the same whichever of the two is the likelier. Common practice, no source.
"""

from __future__ import annotations

from types import MappingProxyType

_HEATER = "a cold heater has failed."
_LAMP = "a lit heater lamp means stuck."
_UNDER_WATER = "is the probe under water?"
_PUMP = "does the return pump run?"
_THERMOMETER = "ask a second thermometer."
_BY_HAND = "measure salinity by hand."
_SUMP = "a low sump means leak."
_FLOOR = "a wet floor means leak."
_LEVEL = "move the level probe by hand."
_CIRCUIT = "does any lamp there burn?"
_INSTRUMENT = "ask a second instrument."


def _pairs() -> dict[frozenset[str], str]:
    found: dict[frozenset[str], str] = {}

    def tell(sentence: str, one: str, *others: str) -> None:
        for other in others:
            found[frozenset((one, other))] = sentence

    tell(_HEATER, "heater_failed_off", "heater_weak")
    tell(_LAMP, "heater_stuck_on", "cooling_lost")
    heat = ("heater_failed_off", "heater_weak", "heater_stuck_on", "cooling_lost")
    water = ("leak", "top_off_overdose", "top_off_failed")
    for cause in (*heat, *water, "circulation_stopped"):
        tell(_UNDER_WATER, cause, "probe_dry")
        tell(_THERMOMETER if cause in heat else _BY_HAND, cause, "probe_drifting")
        tell(_THERMOMETER if cause in heat else _LEVEL, cause, "probe_stuck")
        tell(_INSTRUMENT, cause, "probe_noisy")
        tell(_CIRCUIT, cause, "mains_power_lost")
    for cause in (*heat, *water):
        tell(_PUMP, cause, "circulation_stopped")
    tell(_SUMP, "leak", "top_off_overdose")
    tell(_FLOOR, "leak", "top_off_failed")
    tell("a low sump means failed.", "top_off_failed", "top_off_overdose")
    for cause in ("probe_stuck", "probe_noisy", "probe_drifting"):
        tell(_UNDER_WATER, cause, "probe_dry")
    tell(_INSTRUMENT, "probe_stuck", "probe_noisy", "probe_drifting")
    tell(_INSTRUMENT, "probe_noisy", "probe_drifting")
    probes = ("probe_dry", "probe_noisy", "probe_drifting", "probe_stuck")
    tell("test the effluent by hand.", "reactor_off_band", *probes)
    tell("does the top-off still run?", "reactor_off_band", "top_off_overdose")
    tell(_CIRCUIT, "mains_power_lost", "device_offline", "probe_silent")
    tell("is the board's light on?", "device_offline", "probe_silent")
    return found


TELLS = MappingProxyType(_pairs())


def what_tells(cause: str, rival: str) -> str | None:
    """What to follow a rival's name and a colon, None where this version knows nothing."""
    return TELLS.get(frozenset((cause, rival)))
