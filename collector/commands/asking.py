"""How commands ask the running service for something and wait for its answer."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from typing import TYPE_CHECKING, TypedDict

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.requests import Answer, Asked

# The service looks twice a second, and a busy store may take a moment.
PATIENCE_S = 5.0
REFUSED = 1
_LOOK_S = 0.1


class Which(TypedDict):
    """Alarms, as the requests of `collector.alarm_requests` name them."""

    tank: str
    incident: int | None
    series: str
    cause: str


def add_what_argument(parser: argparse.ArgumentParser, *, numbers: bool = True) -> None:
    """Declare which alarms are meant."""
    series = "a series such as temperature, or one alarm of it: temperature/over_limit"
    parser.add_argument(
        "what",
        metavar="WHAT",
        help=f"the number of an incident, {series}" if numbers else series,
    )
    parser.add_argument(
        "--tank", metavar="NAME", help="whose series; needed only where there are several tanks"
    )
    parser.add_argument("--why", default="", metavar="TEXT", help="kept with it, for whoever looks later")


def which(what: str, tank: str | None, configuration: Configuration) -> Which:
    """Alarms by the number of an incident, by series, or by series and cause."""
    if what.isascii() and what.isdecimal():
        return Which(
            tank="" if tank is None else tank_name(tank, configuration),
            incident=int(what),
            series="",
            cause="",
        )
    series, _, cause = what.partition("/")
    return Which(tank=tank_name(tank, configuration), incident=None, series=series, cause=cause)


def tank_name(name: str | None, configuration: Configuration) -> str:
    """The tank that is meant: the one that is named, or the only one.

    Raises
    ------
    ConfigError
        If there is none of that name, or none is named and there are several.
    """
    from collector.errors import ConfigError
    from collector.settings.suggestions import instead_of

    known = [tank.name for tank in configuration.tanks]
    if name is None:
        if len(known) != 1:
            raise ConfigError(f"say which tank with --tank: one of {', '.join(known)}")
        return known[0]
    if name not in known:
        raise ConfigError(f"there is no tank {name!r}: {instead_of(name, known)}")
    return name


def now_of_service(configuration: Configuration) -> int:
    """Now on the clock of the service, which runs faster in a demo; the wall clock where none has run yet."""
    from collector.clock import NOTE, Clock
    from collector.errors import StoreError
    from collector.store import StoreReader

    try:
        with StoreReader(configuration.store.path) as reader:
            note = reader.note(NOTE)
    except StoreError:
        note = None
    return Clock.of_note(note).now_us()


def ask(configuration: Configuration, asked: Asked, now_us: int) -> Answer | None:
    """Write a request down and wait for its answer; None, and said so, if none came."""
    import time
    import uuid

    from collector.requests import Request
    from collector.store import RequestBox

    request = Request(str(uuid.uuid4()), now_us, who(), asked)
    with RequestBox(configuration.store.path) as box:
        box.ask(request)
        until_s = time.monotonic() + PATIENCE_S
        while (answer := box.answer(request.id)) is None and time.monotonic() < until_s:
            time.sleep(_LOOK_S)
    if answer is None:
        print(
            f"The service has not answered within {PATIENCE_S:.0f} s: is it running? Alarms ring as before. "
            "What you asked is written down, and done as soon as it runs.",
            file=sys.stderr,
        )
    elif not answer.is_done:
        print(f"Not done: {answer.text}.", file=sys.stderr)
    return answer


def ask_and_tell(configuration: Configuration, asked: Asked, now_us: int) -> int:
    """As `ask`, and print what was done; return the exit status."""
    answer = ask(configuration, asked, now_us)
    if answer is None or not answer.is_done:
        return REFUSED
    print(f"{answer.text[:1].upper()}{answer.text[1:]}.")
    return 0


def who() -> str:
    """Who asks: the name of the user, or the number where there is none, as in some containers."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # the latter from Python 3.13 on
        return f"user {os.getuid()}"
