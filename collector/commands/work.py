"""`brinebell work`: tell the running service of work on a tank, and what is planned, also as a calendar."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from collector.commands.asking import REFUSED, ask, now_of_service, tank_name
from collector.commands.configuration_argument import add_configuration_argument

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.requests import Asked
    from rules import PlannedWork

SUMMARY = "tell of work on the tank, so that it rings for nothing that your hands do; or list what is planned"
EXAMPLE = 'brinebell work begin water_change --for "45 min"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "step",
        nargs="?",
        choices=("begin", "end", "cancel", "import", "export"),
        help="begin work, or plan it with --in; end the one that goes on; cancel those of a kind, or `all`, "
        "that have not begun; import works from an iCalendar file, instead of those imported for this tank "
        "before; export the plan as one. Without it, list works and the kinds that there are",
    )
    parser.add_argument(
        "kind",
        nargs="?",
        metavar="KIND|FILE",
        help="what is done, such as feeding_pause, or what is cancelled, perhaps `all`; the file to import, "
        "or to write instead of the screen",
    )
    parser.add_argument("--tank", metavar="NAME", help="which tank; needed only where there are several")
    parser.add_argument(
        "--for", dest="lasts", metavar="DURATION", help='how long it takes: "45 min", a day at most'
    )
    parser.add_argument("--in", dest="wait", metavar="DURATION", help="begin so long from now")


def run(arguments: argparse.Namespace) -> int:
    """Ask the service and print its answer; 1 if it could not be done, or not yet."""
    from collector.errors import ConfigError
    from collector.settings import load_configuration

    if arguments.step is None and (arguments.lasts or arguments.wait):
        raise ConfigError(f"--for and --in go with `work begin`: {EXAMPLE}")
    configuration = load_configuration(arguments.config)
    now_us = now_of_service(configuration)
    if arguments.step is None:
        print(_list_text(configuration, now_us))
        return 0
    if arguments.step in ("import", "export"):
        if arguments.lasts or arguments.wait:
            raise ConfigError("--for and --in go with `work begin`: a file says when its works are")
        from collector.calendars import read_file, write_file

        tank = tank_name(arguments.tank, configuration)
        if arguments.step == "export":
            print(write_file(arguments.kind, tank, configuration, now_us))
            return 0
        asked, problems = read_file(arguments.kind, tank, configuration)
        for problem in problems:
            print(problem, file=sys.stderr)
        status = _ask(configuration, asked, now_us)
        return REFUSED if problems else status
    return _ask(configuration, _asked(arguments, configuration, now_us), now_us)


def _asked(arguments: argparse.Namespace, configuration: Configuration, now_us: int) -> Asked:
    from collector.errors import ConfigError
    from collector.requests import EVERY_KIND, BeginWork, CancelWork, EndWork
    from collector.settings.suggestions import instead_of
    from collector.units import parse_duration
    from rules import KINDS

    tank, kind = tank_name(arguments.tank, configuration), arguments.kind or ""
    is_every = arguments.step == "cancel" and kind == EVERY_KIND
    if kind and kind not in KINDS and not is_every:
        raise ConfigError(f"there is no work {kind!r}: {instead_of(kind, KINDS)}")
    if arguments.step != "begin":
        if arguments.lasts or arguments.wait:
            raise ConfigError(f"--for and --in say when work begins: `work {arguments.step}` takes neither")
        if arguments.step == "end":
            return EndWork(tank, kind)
        if not kind:
            raise ConfigError(
                f"say what is not to come: brinebell work cancel KIND, one of {', '.join(KINDS)}, "
                f"or brinebell work cancel {EVERY_KIND}"
            )
        return CancelWork(tank, "" if is_every else kind)
    if not kind:
        raise ConfigError(f"say what is done: brinebell work begin KIND, one of {', '.join(KINDS)}")
    if not arguments.lasts:
        raise ConfigError(f'say how long it takes: brinebell work begin {kind} --for "45 min"')
    from_us = now_us + (parse_duration(arguments.wait) if arguments.wait else 0)
    return BeginWork(tank, kind, from_us, from_us + parse_duration(arguments.lasts))


def _ask(configuration: Configuration, asked: Asked, now_us: int) -> int:
    """Ask, and print what is planned then."""
    from collector.requests import BeginWork
    from collector.store import StoreReader

    path = configuration.store.path
    answer = ask(configuration, asked, now_us)
    if answer is None or not answer.is_done:
        return REFUSED
    if not isinstance(asked, BeginWork):
        print(f"{answer.text[:1].upper()}{answer.text[1:]}.")
        return 0
    with StoreReader(path) as reader:
        for work in reader.known_works():
            if (work.tank, work.kind, work.to_us) == (asked.tank, asked.kind, asked.to_us):
                print(_line(work, configuration, now_us))
                print(_meanwhile(work, configuration, now_us))
    return 0


def _list_text(configuration: Configuration, now_us: int) -> str:
    from collector.store import StoreReader
    from rules import KINDS

    with StoreReader(configuration.store.path) as reader:
        works = [work for work in reader.known_works() if work.settled_us > now_us]
    lines = [_line(work, configuration, now_us) for work in works] or ["No work is planned."]
    width = max(map(len, KINDS)) + 2
    return "\n".join(
        [*lines, "", "Kinds of work:", *(f"  {kind.name:<{width}}{kind.meaning}" for kind in KINDS.values())]
    )


def _line(work: PlannedWork, configuration: Configuration, now_us: int) -> str:
    from collector.wording.works import work_text

    where = f" in {work.tank}" if len(configuration.tanks) > 1 else ""
    return work_text(work, now_us, _zone(work, configuration), where)


def _meanwhile(work: PlannedWork, configuration: Configuration, now_us: int) -> str:
    from collector.wording.texts import shown_name
    from collector.wording.works import quiet_text
    from rules import NEVER_SUPPRESSED

    live = ", ".join(sorted(shown_name(cause) for cause in NEVER_SUPPRESSED))
    return quiet_text(work, now_us, _zone(work, configuration), f"these always do: {live}")


def _zone(work: PlannedWork, configuration: Configuration) -> str:
    return next((tank.rules.time_zone for tank in configuration.tanks if tank.name == work.tank), "UTC")
