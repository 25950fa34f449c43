"""The words of every cause: what is wrong, what to look at first, what to beware of, what to do after.

One table of causes, and one of quantities for causes that name no culprit. A diagnosis is a hint, so
every first thing to do is a look. Cautions are the usual ones around mains, limewater and gas; they
replace neither local rules nor a licensed electrician.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

MAINS = "Unplug equipment before hands go into the water."
HEATER = "Unplug it before hands go into the water."
HOT_HEATER = "Leave it under water until cold."
EQUIPMENT = "Unplug it before you touch it."
WET_FLOOR = "Wet floor: stand dry, breaker off before you touch anything."
DRY_HANDS = "Keep hands and plugs dry."
LIMEWATER = "Limewater is caustic: wear goggles and gloves."
BREAKER = "If it trips again, unplug all and call an electrician."
CO2 = "CO2 suffocates: air the room before you stay."
OZONE = "Ozone harms lungs: air the room before you stay."
SLOWLY = "Correct slowly, over hours."
# Many top-offs carry limewater.
TOP_OFF = f"{LIMEWATER} {SLOWLY}"


@dataclass(frozen=True, slots=True)
class Look:
    """The first thing to do, continuing a sentence, and what to beware of while doing it."""

    action: str
    caution: str


@dataclass(frozen=True, slots=True)
class CauseText:
    """How one cause is told.

    Parameters
    ----------
    what
        Opens the first line.
    where
        Whether the first line names the tank, the series or the board.
    states
        Opens the body, before "since ..."; None where the trend of the value does.
    look
        None where it depends on the quantity, see `LOOKS`.
    after
        What to do when it has ended.
    shows_value, shows_danger, shows_since
        What else the first line tells.
    is_high
        On which side the value is; None where its trend says so.
    """

    what: str
    where: Literal["tank", "series", "board"]
    after: str
    states: str | None = None
    look: Look | None = None
    shows_value: bool = True
    shows_danger: bool = False
    shows_since: bool = False
    is_high: bool | None = None


CAUSE_TEXTS = MappingProxyType(
    {
        "under_limit": CauseText(
            "Too low",
            "series",
            "Find out why before it happens again.",
            shows_danger=True,
            is_high=False,
        ),
        "over_limit": CauseText(
            "Too high",
            "series",
            "Find out why before it happens again.",
            shows_danger=True,
            is_high=True,
        ),
        "under_danger_line": CauseText(
            "Dangerously low",
            "series",
            "Look at the animals, and find out why.",
            is_high=False,
        ),
        "over_danger_line": CauseText(
            "Dangerously high",
            "series",
            "Look at the animals, and find out why.",
            is_high=True,
        ),
        "changing_fast": CauseText(
            "Changing fast",
            "series",
            "Find out what moved it.",
            shows_danger=True,
        ),
        "contact_alarm": CauseText(
            "Contact alarm",
            "series",
            "Look for water where none should be.",
            states="In alarm",
            look=Look("first look where this contact sits, for water or a stuck float.", WET_FLOOR),
            shows_value=False,
            shows_since=True,
        ),
        "probe_silent": CauseText(
            "No readings",
            "series",
            "Look at its plug: a loose one fails again.",
            states="Silent",
            look=Look("first look at the probe's cable, plug and board; nothing watches it now.", MAINS),
            shows_value=False,
            shows_since=True,
        ),
        "probe_stuck": CauseText(
            "Probe stuck",
            "series",
            "Compare it with a second instrument before you trust it.",
            states="The same value",
            look=Look("first compare with a second instrument, then look at the probe.", MAINS),
        ),
        "probe_out_of_range": CauseText(
            "Probe off scale",
            "series",
            "Look at its plug: a loose one fails again.",
            states="Impossible readings",
            look=Look("first compare with a second instrument, then look at the probe's plug.", MAINS),
        ),
        "device_offline": CauseText(
            "Board offline",
            "board",
            "Look whether all its probes are back.",
            states="Its probes are unwatched",
            look=Look("first look at the board's power supply and network.", DRY_HANDS),
            shows_value=False,
            shows_since=True,
        ),
        "heater_failed_off": CauseText(
            "Heater failed",
            "tank",
            "Look at the heater before you trust it again.",
            look=Look("first look at the heater's plug, fuse and thermostat.", HEATER),
            shows_danger=True,
            is_high=False,
        ),
        "heater_stuck_on": CauseText(
            "Heater stuck on",
            "tank",
            "Do not trust this heater again unattended.",
            look=Look(
                "first look whether the heater is on; if so, unplug it before hands go in.", HOT_HEATER
            ),
            shows_danger=True,
            is_high=True,
        ),
        "heater_weak": CauseText(
            "Heater weak",
            "tank",
            "Plan a second or a stronger heater.",
            look=Look("first look whether every heater gets warm.", HEATER),
            shows_danger=True,
            is_high=False,
        ),
        "cooling_lost": CauseText(
            "Cooling lost",
            "tank",
            "Clean fans and filters before the next hot day.",
            look=Look("first look whether chiller and fans run and get air.", EQUIPMENT),
            shows_danger=True,
            is_high=True,
        ),
        "top_off_overdose": CauseText(
            "Top-off overdose",
            "tank",
            "Test alkalinity and pH before you dose anything.",
            look=Look("first look whether the top-off runs; if so, unplug it.", TOP_OFF),
            shows_value=False,
            shows_since=True,
            shows_danger=True,
        ),
        "top_off_failed": CauseText(
            "Top-off failed",
            "tank",
            "Refill slowly, and look at float, hose and pump.",
            look=Look("first look at the reservoir, then pump, hose and float.", LIMEWATER),
            shows_value=False,
            shows_since=True,
            shows_danger=True,
        ),
        "leak": CauseText(
            "Leak",
            "tank",
            "Look for what gave way before you refill.",
            states="Losing water",
            look=Look("first look at the floor, then sump, hoses and pumps.", WET_FLOOR),
            shows_value=False,
            shows_since=True,
        ),
        "circulation_stopped": CauseText(
            "No circulation",
            "tank",
            "Look whether heater, skimmer and top-off work as before.",
            states="No return flow",
            look=Look("first look whether the return pump is blocked or without power.", EQUIPMENT),
            shows_value=False,
            shows_since=True,
        ),
        "reactor_off_band": CauseText(
            "Reactor off band",
            "series",
            "Test the tank's alkalinity.",
            look=Look("first look at bubble rate and effluent; in doubt close the gas.", CO2),
        ),
        "probe_dry": CauseText(
            "Probe dry",
            "series",
            "Fix its holder so that it cannot slip again.",
            states="Out of water",
            look=Look("first look whether the probe hangs under water; nothing watches it now.", MAINS),
        ),
        "probe_noisy": CauseText(
            "Probe noisy",
            "series",
            "Keep its cable away from pumps and lights.",
            states="Scattering",
            look=Look("first look for bubbles, a loose plug, or mains cables beside it.", MAINS),
        ),
        "probe_drifting": CauseText(
            "Probe drifting",
            "series",
            "Compare it with a second instrument in a week.",
            states="Drifting",
            look=Look("first compare with a second instrument; then clean and calibrate.", MAINS),
        ),
        "mains_power_lost": CauseText(
            "Mains power lost",
            "tank",
            "Look whether every pump and heater runs again.",
            states="No power",
            look=Look("first look at breaker and residual current device.", BREAKER),
            shows_value=False,
            shows_since=True,
        ),
    }
)

_SALT = (
    Look("first look whether the top-off keeps running; if so, stop it.", TOP_OFF),
    Look("first look at the top-off: reservoir, pump, hose.", TOP_OFF),
)

# Quantity -> what to look at when it is low, and when it is high. Common practice, no source.
LOOKS = MappingProxyType(
    {
        "temperature": (
            Look("first check with a second thermometer, then look at the heater.", MAINS),
            Look("first check with a second thermometer, then heater, chiller and fans.", MAINS),
        ),
        "ph": (
            Look("first check with a test kit, then air the room and check the CO2.", CO2),
            Look("first check with a test kit, then look whether limewater runs on.", LIMEWATER),
        ),
        "practical_salinity": _SALT,
        "conductivity": _SALT,
        "specific_conductance": _SALT,
        "volume": (
            Look("first look whether this needs refilling, or leaks.", WET_FLOOR),
            Look("first look which pump feeds this, and whether it runs on.", WET_FLOOR),
        ),
        "water_level": (
            Look("first look for a leak, then at the top-off.", WET_FLOOR),
            Look("first look at the return pump, then at the top-off.", WET_FLOOR),
        ),
        "power": (
            Look("first look whether this equipment runs: plug, fuse, breaker.", EQUIPMENT),
            Look("first look whether this equipment is blocked, hot or smells burnt.", EQUIPMENT),
        ),
        "alkalinity": (
            Look("first repeat with a test kit, then look at the dosing.", SLOWLY),
            Look("first repeat with a test kit, then look whether dosing runs on.", LIMEWATER),
        ),
        "redox_potential": (
            Look("first look for dead animals and stopped pumps, then clean the probe.", MAINS),
            Look("first look whether ozone runs on; if so, stop it.", OZONE),
        ),
        "dissolved_oxygen": (
            Look("first look whether pumps run and the surface moves.", MAINS),
            Look("first compare with a second instrument.", MAINS),
        ),
        "flow": (
            Look("first look whether the pump runs and its intake is clear.", MAINS),
            Look("first look for a hose that has come off.", WET_FLOOR),
        ),
        "relative_humidity": (
            Look("first compare with a second instrument.", DRY_HANDS),
            Look("first look for a leak, then air the room.", WET_FLOOR),
        ),
    }
)

ANY_LOOK = Look("first compare with a second instrument.", MAINS)


def shown_name(cause: str) -> str:
    """A cause within a sentence: "heater failed"; its code where this version does not know it."""
    text = CAUSE_TEXTS.get(cause)
    if text is None:
        return cause.replace("_", " ")
    return text.what[:1].lower() + text.what[1:]


def look_for(text: CauseText, quantity: str | None, is_high: bool | None) -> Look:
    """What to look at first: by the cause where it names a culprit, else by quantity and side."""
    if text.look is not None:
        return text.look
    if is_high is None or quantity is None or quantity not in LOOKS:
        return ANY_LOOK
    low, high = LOOKS[quantity]
    return high if is_high else low
