"""`brinebell causes`: the causes that an alarm can have, and everything about one of them."""

from __future__ import annotations

import argparse
from textwrap import wrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collector.wording.texts import CauseText
    from rules import Fault

EXAMPLE = "brinebell causes heater_failed_off"
SUMMARY = "list the causes that an alarm can have, or tell all about one"

_WIDTH = 100
_NAME = 14
# Suppressed by what their series is of, and not by their name.
_OF_QUANTITY = frozenset({"under_limit", "over_limit", "changing_fast"})


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("cause", nargs="?", metavar="CAUSE", help="a code of the list; without it, the list")


def run(arguments: argparse.Namespace) -> int:
    """Print it; an unknown code is a mistake of the command."""
    print(_list_text() if arguments.cause is None else _cause_text(arguments.cause))
    return 0


def _list_text() -> str:
    """One line a cause: its code and what it watches, the most specific first."""
    from rules import CAUSES

    width = max(map(len, CAUSES)) + 2
    causes = sorted(CAUSES.values(), key=lambda cause: -cause.rank)
    lines = [f"{'cause':<{width}}what it watches"]
    lines += [f"{cause.code:<{width}}{cause.watches}" for cause in causes]
    lines += ["", "Where alarms form one incident, that which stands higher here names it."]
    return "\n".join([*lines, "All about one: brinebell causes heater_failed_off"])


def _cause_text(code: str) -> str:
    from collector.errors import ConfigError
    from collector.settings.suggestions import instead_of
    from collector.wording.texts import CAUSE_TEXTS
    from rules import CAUSES, FAULTS

    if code not in CAUSES:
        raise ConfigError(f"there is no cause {code!r}: {instead_of(code, CAUSES)}")
    cause, text, fault = CAUSES[code], CAUSE_TEXTS[code], FAULTS.get(code)
    lines = [f"{code}: {cause.title}", "", *_entry("watches", cause.watches)]
    if fault is not None:
        lines += _entry("priority", str(fault.priority))
        lines += _entry("looked for", _where(fault))
    lines += _looks(text)
    lines += _entry("afterwards", text.after)
    lines += _entry("not during", _suppressed(code))
    lines += _apart(code)
    if fault is not None:
        lines += _parameters(fault)
    return "\n".join(lines)


def _entry(name: str, text: str) -> list[str]:
    """A name and its text, broken into lines."""
    first, *rest = wrap(text, _WIDTH - _NAME) or [""]
    return [f"{name:<{_NAME}}{first}", *(" " * _NAME + line for line in rest)]


def _where(fault: Fault) -> str:
    quantities = ", ".join(fault.quantities)
    where = f"the role {' or '.join(fault.roles)}" if fault.roles else f"every series of {quantities}"
    if fault.equipment:
        return f"{where}, in a tank that has: {', '.join(sorted(fault.equipment))}"
    return where


def _suppressed(code: str) -> str:
    """The kinds of planned work that suppress it by design."""
    from rules import KINDS

    if code in _OF_QUANTITY:
        return "planned work that moves its quantity"
    return ", ".join(name for name, kind in KINDS.items() if code in kind.causes) or "-: it is always live"


def _looks(text: CauseText) -> list[str]:
    """What to do first and what to beware of; by quantity where the cause names no culprit."""
    from collector.wording.texts import LOOKS, look_for

    if text.look is not None:
        return [*_entry("do first", _sentence(text.look.action)), *_entry("beware", text.look.caution)]
    lines: list[str] = []
    for quantity in LOOKS:
        for is_high in (False, True):
            if text.is_high in (None, is_high):
                look = look_for(text, quantity, is_high)
                name = "do first" if not lines else ""
                side = "high" if is_high else "low"
                lines += _entry(name, f"{quantity}, {side}: {look.action} {look.caution}")
    return lines


def _sentence(action: str) -> str:
    text = action.removeprefix("first ")
    return text[:1].upper() + text[1:]


def _apart(code: str) -> list[str]:
    """Rivals, and what tells them apart."""
    from collector.wording.rivals import TELLS
    from collector.wording.texts import shown_name

    lines: list[str] = []
    for pair, sentence in TELLS.items():
        if code in pair:
            (rival,) = pair - {code}
            lines += _entry("" if lines else "rivals", f"{shown_name(rival)}: {sentence}")
    return lines


def _parameters(fault: Fault) -> list[str]:
    """Every number that a keeper may set, as it is written in the configuration."""
    from collector.settings.keys import parameter_text

    lines = ["", f"Parameters, under [tanks.<tank>.faults.{fault.code}], with their defaults:"]
    for parameter in fault.parameters:
        lines.append(f'  {parameter.name} = "{parameter_text(parameter)}"')
        lines += [f"      {line}" for line in wrap(parameter.meaning, _WIDTH - 6)]
    return lines
