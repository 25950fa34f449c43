"""What an alarm is based on, line by line: the same lines for the page, the replay report and messages."""

from __future__ import annotations

from collector.configuration import Configuration
from collector.units.display import display
from collector.wording.reasons import reason_text
from collector.wording.rivals import what_tells
from collector.wording.texts import shown_name
from rules import Evidence, Reason, Rival, Sign

# What equipment, room or a contact say is worth a word of its own in a message; the trend is there anyway.
_TOLD_SHORTLY = frozenset({Sign.POWER, Sign.ROOM, Sign.CONTACT})

# Limits say what is wrong and not why.
_SAY_NO_WHY = frozenset({"under_limit", "over_limit", "under_danger_line", "over_danger_line"})


def reason_lines(evidence: Evidence, tank: str, configuration: Configuration) -> list[str]:
    """Each reason as a line, what speaks for the cause first."""
    reasons = sorted(evidence.reasons, key=lambda reason: reason.speaks_against)
    return [reason_line(reason, tank, configuration) for reason in reasons]


def reason_line(reason: Reason, tank: str, configuration: Configuration) -> str:
    """One reason as a line."""
    title, quantity = series_title(reason.series, tank, configuration)
    return reason_text(reason, title, quantity, configuration.units)


def rival_lines(evidence: Evidence, cause: str) -> list[str]:
    """Each other cause that explains the same: how sure it is, and what tells the two apart."""
    return [rival_line(rival, cause) for rival in evidence.rivals]


def rival_line(rival: Rival, cause: str) -> str:
    """Word a rival: "Or probe dry, about 40 % sure: is the probe under water?".

    What names no cause itself has none: "Perhaps probe dry, about 40 % sure.".
    """
    line = f"{_opening(cause)} {shown_name(rival.cause)}, about {100 * rival.confidence:.0f} % sure"
    sentence = what_tells(cause, rival.cause)
    return f"{line}." if sentence is None else f"{line}: {sentence}"


def _opening(cause: str) -> str:
    return "Perhaps" if cause in _SAY_NO_WHY else "Or"


def short_rival(evidence: Evidence, cause: str) -> tuple[str, ...]:
    """The surest rival in a message, the better wording first: "Or probe dry: is the probe under water?"."""
    if not evidence.rivals:
        return ()
    rival = evidence.rivals[0]
    sentence, short = what_tells(cause, rival.cause), f"{_opening(cause)} {shown_name(rival.cause)}"
    return (f"{short}.",) if sentence is None else (f"{short}: {sentence}", f"{short}.")


def short_reason(evidence: Evidence, tank: str, configuration: Configuration) -> str | None:
    """What equipment or room say, in a message: "Heater power 0 W."."""
    for reason in evidence.reasons:
        if reason.sign in _TOLD_SHORTLY and reason.value is not None and not reason.speaks_against:
            title, quantity = series_title(reason.series, tank, configuration)
            value = f"{reason.value:g}"
            if quantity is not None:
                value = display(reason.value, quantity, configuration.units)
            return f"{title} {value}."
    return None


def series_title(name: str, tank: str, configuration: Configuration) -> tuple[str, str | None]:
    """What people call a series, and its quantity; the plain name and None where it is not configured."""
    for one in configuration.series:
        if (one.tank, one.name) == (tank, name):
            return " ".join(one.title.split()) or _plain(name), one.quantity
    return _plain(name), None


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").split()).capitalize() or "?"
