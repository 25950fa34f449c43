"""`brinebell incidents`: what happened, newest last; one with all its messages; or how well alarms serve."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from collector.commands.asking import now_of_service
from collector.commands.configuration_argument import add_configuration_argument

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.store import IncidentRecord, StoreReader

SUMMARY = "list what happened: when, in which tank, what, how long, what was told, and who has seen it"
EXAMPLE = "brinebell incidents --config brinebell.toml --last 5"

SUMMARY_DAYS = 30

_COLUMNS = ("no.", "since", "tank", "what", "priority", "how long")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "number",
        nargs="?",
        type=_count,
        metavar="NUMBER",
        help="one incident alone, with who was told over which channel, and each try",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a table")
    parser.add_argument("--last", type=_count, metavar="N", help="only the last N incidents")
    parser.add_argument(
        "--annotations",
        action="store_true",
        help="instead of incidents, an annotation file of the verdicts given on their pages: the truth for "
        "`brinebell replay` and `brinebell tune`",
    )
    parser.add_argument(
        "--summary",
        action="store_true",
        help="instead of incidents, the alarm performance figures of EEMUA 191 and ISA-18.2",
    )
    parser.add_argument(
        "--days",
        type=_count,
        metavar="N",
        help=f"with --summary: of the last N days, {SUMMARY_DAYS} by default",
    )


def run(arguments: argparse.Namespace) -> int:
    """Print them; 0 also if there are none."""
    from collector.errors import ConfigError
    from collector.settings import load_configuration
    from collector.store import StoreReader

    if arguments.days is not None and not arguments.summary:
        raise ConfigError("--days goes with --summary: brinebell incidents --summary --days 7")
    if arguments.last is not None and arguments.summary:
        raise ConfigError("--last goes with the list of incidents; of a summary say the days: --days 7")
    if arguments.number is not None and (arguments.summary or arguments.last is not None):
        raise ConfigError("one incident goes without --summary and --last: brinebell incidents 12")
    if arguments.annotations and (arguments.summary or arguments.json or arguments.last is not None):
        raise ConfigError("--annotations goes alone: brinebell incidents --annotations > truth.toml")
    configuration = load_configuration(arguments.config)
    with StoreReader(configuration.store.path) as reader:
        if arguments.annotations:
            print(_annotations(reader), end="")
            return 0
        if arguments.number is not None:
            print(_story(reader, configuration, arguments.number, is_json=arguments.json))
            return 0
        if arguments.summary:
            print(_summary(reader, configuration, arguments.days or SUMMARY_DAYS, is_json=arguments.json))
            return 0
        records = reader.incidents(arguments.last)[::-1]
    if arguments.json:
        print(_json_text(records))
    elif not records:
        print("No incident so far.")
    else:
        print(_table_text(records, configuration, now_of_service(configuration)))
    return 0


def _count(text: str) -> int:
    count = int(text) if text.isascii() and text.isdecimal() else 0
    if count < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of incidents: 1 or more is needed")
    return count


def _story(reader: StoreReader, configuration: Configuration, number: int, *, is_json: bool) -> str:
    """One incident, and the telling of it."""
    import orjson

    from collector.account import answer_object, delivery_object, incident_object
    from collector.errors import ConfigError
    from collector.wording.deliveries import delivery_lines

    try:
        record = reader.incident(number).record
    except KeyError as error:
        raise ConfigError(f"there is no incident {number}: `brinebell incidents` lists all") from error
    deliveries = reader.deliveries(number)
    if is_json:
        found = {
            "number": number,
            **answer_object(record.answer),
            **incident_object(record.incident, f"{record.title}\n{record.body}"),
            "messages": [delivery_object(one.message, one.state, one.tries) for one in deliveries],
        }
        return orjson.dumps(found, option=orjson.OPT_INDENT_2).decode()
    zone = next(
        (one.rules.time_zone for one in configuration.tanks if one.name == record.incident.tank), "UTC"
    )
    told = [line for one in deliveries for line in delivery_lines(one.message, one.state, one.tries, zone)]
    table = _table_text((record,), configuration, now_of_service(configuration))
    return "\n".join([table, "", "Who was told:", *(told or ["  nobody: no message was written about it"])])


def _annotations(reader: StoreReader) -> str:
    """The verdicts as an annotation file."""
    from collector.annotations import annotations_text
    from collector.replay import reviewed

    found = reviewed(reader)
    heading = ["What people said of the incidents that were told, on their pages."]
    heading += [f"{found.lacks}."] if found.lacks else []
    return annotations_text("Reviewed incidents", found.annotations, heading)


def _summary(reader: StoreReader, configuration: Configuration, days: int, *, is_json: bool) -> str:
    import orjson

    from collector.performance import Ring, as_object, as_text, figures_of
    from rules import HOUR_US

    first_us, last_us = reader.first_commit_us, reader.last_commit_us
    if first_us is None or last_us is None:
        return "{}" if is_json else "Nothing is recorded yet."
    # Until the last commit: a store may be of another time, as that of the demo is.
    to_us = max(first_us, last_us) + 1
    from_us = max(first_us, to_us - days * 24 * HOUR_US)
    figures = figures_of(
        reader.alarm_events(0, to_us),
        [Ring(*one) for one in reader.rings(from_us, to_us)],
        from_us,
        to_us,
        {tank.name: tank.rules.time_zone for tank in configuration.tanks},
        reader.acknowledged_after_us(from_us, to_us),
    )
    if is_json:
        return orjson.dumps(as_object(figures), option=orjson.OPT_INDENT_2).decode()
    return as_text(figures)


def _json_text(records: tuple[IncidentRecord, ...]) -> str:
    import orjson

    from collector.account import answer_object, incident_object

    found = [
        {"number": record.incident.number}
        | answer_object(record.answer)
        | incident_object(record.incident, f"{record.title}\n{record.body}")
        for record in records
    ]
    return orjson.dumps({"incidents": found}, option=orjson.OPT_INDENT_2).decode()


def _table_text(records: tuple[IncidentRecord, ...], configuration: Configuration, now_us: int) -> str:
    """A table with the message under each row: its own words, as they were sent."""
    from collector.account import lasted_text
    from rules import CAUSES

    rows = [_COLUMNS]
    for record in records:
        incident = record.incident
        cause = CAUSES.get(incident.cause)
        rows.append(
            (
                str(incident.number),
                _local_time(incident.first_evidence_us, incident.tank, configuration),
                incident.tank,
                incident.cause if cause is None else cause.title,
                str(incident.priority),
                lasted_text(incident),
            )
        )
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = []
    told = [
        "",
        *(
            f"{record.title}\n{record.body}\n{_state(record, configuration, now_us)}".strip()
            for record in records
        ),
    ]
    for row, message in zip(rows, told, strict=True):
        lines.append("  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip())
        lines += [f"    {line}" for line in message.splitlines()]
    return "\n".join(lines)


def _state(record: IncidentRecord, configuration: Configuration, now_us: int) -> str:
    """How its telling stands, as a sentence."""
    from collector.wording.answers import state_text

    tanks = {one.name: one.rules.time_zone for one in configuration.tanks}
    incident = record.incident
    text = state_text(
        record.answer,
        is_over=incident.ended_at_us is not None,
        now_us=now_us,
        zone=tanks.get(incident.tank, "UTC"),
    )
    return f"{text[:1].upper()}{text[1:]}."


def _local_time(time_us: int, tank: str, configuration: Configuration) -> str:
    """The tank's own wall time with its zone, UTC for a tank that is no longer configured."""
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    at = datetime.fromtimestamp(time_us / 1e6, UTC)
    for one in configuration.tanks:
        if one.name == tank:
            at = at.astimezone(ZoneInfo(one.rules.time_zone))
    return at.strftime("%Y-%m-%d %H:%M %Z")
