"""`brinebell replay`: what would have rung in a recording, or in what the service or a database has."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.learning import HeatVersion, Version
    from collector.recordings import Form, Recording
    from collector.recurrence import RecurringWork
    from collector.replay import Input, Reasoning, Replayed
    from rules import Annotation, Incident, Score

EXAMPLE = "brinebell replay week.csv --config brinebell.toml --plan plan.ics --truth week.annotations.toml"
SUMMARY = "judge a recorded week with the same engine: what would have rung, when, and whom"
NEVER = "never"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "files",
        metavar="FILE",
        nargs="*",
        type=Path,
        help="CSV, long (time,series,value) or wide, InfluxDB line protocol (.lp), Parquet, each also "
        "gzipped; or a folder of them. Without any: what the service has recorded in its own store",
    )
    parser.add_argument(
        "--database",
        action="store_true",
        help="instead of files: readings of a span, asked of the time-series database of the configuration "
        "(--from, and --to if it does not end now), which has them when the store has them no more",
    )
    parser.add_argument(
        "--config", type=Path, metavar="FILE", help="configuration; without it the shipped example is used"
    )
    add_reading_arguments(parser.add_argument_group("how the files are written"))
    beside = parser.add_argument_group("what goes with the recording")
    add_beside_arguments(beside)
    beside.add_argument(
        "--from", dest="since", metavar="TIME", help="of store or database, from 2026-03-01T00:00Z on"
    )
    beside.add_argument("--to", dest="until", metavar="TIME", help="of store or database: until then")
    parser.add_argument(
        "--report", type=Path, metavar="FILE", help="write one HTML file with charts, which opens offline"
    )
    live = parser.add_argument_group("as a rehearsal")
    live.add_argument(
        "--speed",
        type=float,
        metavar="TIMES",
        help="play it into the broker of the configuration as live messages, so many times as fast, before "
        "a service of its own: the whole chain up to the phone",
    )
    live.add_argument("--ring", action="store_true", help="really ring those who would be rung")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    form.add_argument(
        "--explain",
        type=int,
        metavar="INCIDENT",
        help="print the reasoning of that incident step by step; the list numbers them",
    )


def add_beside_arguments(group: argparse._ArgumentGroup) -> None:
    """Declare what is known beside recorded files."""
    group.add_argument(
        "--plan",
        action="append",
        default=[],
        metavar="[TANK=]FILE",
        help="planned work as an iCalendar file (RFC 5545), beside the works of the configuration",
    )
    group.add_argument(
        "--truth",
        type=Path,
        metavar="FILE",
        help="annotation file of what truly happened: found, late, missed and false alarms are told; of the "
        "store, what was said on the pages of its incidents if no file is named",
    )
    group.add_argument(
        "--learn",
        action="store_true",
        help="learn each night what is usual from the files themselves, as the service does; takes longer",
    )
    group.add_argument(
        "--answered-after",
        default="5 min",
        metavar="DURATION",
        help=f"how long after its first ring each incident is taken as answered, or {NEVER!r} (5 min)",
    )


def add_reading_arguments(parser: argparse._ArgumentGroup) -> None:
    """Declare how recorded files are written."""
    parser.add_argument("--zone", metavar="ZONE", help="time zone of times without an offset: Europe/Lisbon")
    parser.add_argument("--time-format", metavar="FORMAT", help="such as '%%d.%%m.%%Y %%H:%%M'")
    parser.add_argument("--time-column", metavar="NAME", help="if it is not called time")
    parser.add_argument(
        "--unit",
        action="append",
        default=[],
        metavar="SERIES=UNIT",
        help="unit of a series where the file does not say: temperature=degF",
    )


def run(arguments: argparse.Namespace) -> int:
    """Replay and print; 0 also if nothing rang."""
    from tqdm import tqdm

    from collector.delivery import channel_names
    from collector.errors import ConfigError
    from collector.replay import Reasoning, Replay, replayed_lines, replayed_object
    from collector.settings import load_configuration
    from collector.telling import people_of
    from rules import score

    configuration = load_configuration(arguments.config)
    if arguments.config is None:
        if not arguments.files or arguments.database:
            raise ConfigError("say which recording: brinebell replay week.csv, or whose store: --config FILE")
        _tell("No --config given: the shipped example configuration is used.")
    if arguments.speed is not None or arguments.ring:
        from collector.commands.rehearsing import rehearsed

        return rehearsed(arguments, configuration)
    answered_after_us = answered_after(arguments.answered_after)
    since_us = None if arguments.since is None else instant_of(arguments.since, "--from")
    until_us = None if arguments.until is None else instant_of(arguments.until, "--to")
    truth = _truth(arguments, configuration, since_us, until_us)
    reasoning = None if arguments.explain is None else Reasoning()
    people = people_of(configuration, channel_names)
    replay = Replay(configuration, people, answered_after_us, reasoning, since_us)
    source = _source(arguments, configuration, replay.look_back_us, since_us, until_us)
    _tell(f"What the service would have known beside these readings: {'; '.join(source.lacks)}.")
    with tqdm(total=source.count, unit=" readings", unit_scale=True, disable=None, leave=False) as bar:
        replayed = source.replay(replay, bar.update)
    if reasoning is not None:
        print(_explained(arguments.explain, replayed.incidents, reasoning, configuration))
        return 0
    outcome = None
    if truth is not None:
        outcome = score(truth, replayed.opened, replayed.incidents, replayed.first_us, replayed.last_us)
    if arguments.report is not None:
        _write_report(arguments, source, replayed, configuration, outcome, replay.learned or source.versions)
    if arguments.json:
        import orjson

        found = replayed_object(replayed, configuration, source.lacks, outcome)
        print(orjson.dumps(found, option=orjson.OPT_INDENT_2).decode())
        return 0
    count = len(replayed.incidents)
    rings = [ring for ring in replayed.rings if not ring.is_quiet]
    _tell(
        f"{source.count:,} readings, {count} incident{'' if count == 1 else 's'}, "
        f"{len(rings)} ring{'' if len(rings) == 1 else 's'}, {sum(ring.is_night for ring in rings)} at night."
    )
    for line in replayed_lines(replayed, configuration, outcome):
        print(line)
    return 0


def _truth(
    arguments: argparse.Namespace,
    configuration: Configuration,
    since_us: int | None,
    until_us: int | None,
) -> Sequence[Annotation] | None:
    """What truly happened, if anybody has said so: in a file, or of incidents in the store."""
    from collector.annotations import read_annotations
    from collector.replay import reviewed
    from collector.store import StoreReader

    if arguments.truth is not None:
        return read_annotations(arguments.truth, configuration)
    if arguments.files or arguments.database:
        return None
    with StoreReader(configuration.store.path) as reader:
        found = reviewed(reader, since_us or 0, until_us or 2**62)
    if not found.annotations:
        return None
    _tell(f"Held against the verdicts on its incidents{': ' if found.lacks else ''}{found.lacks}.")
    return found.annotations


def _source(
    arguments: argparse.Namespace,
    configuration: Configuration,
    look_back_us: int,
    since_us: int | None,
    until_us: int | None,
) -> Input:
    from collector.errors import ConfigError
    from collector.replay import FromFiles, from_store
    from collector.store import StoreReader

    if arguments.database:
        return _of_database(arguments, configuration, look_back_us, since_us, until_us)
    if not arguments.files:
        if arguments.plan:
            raise ConfigError("--plan goes with files: the store knows what was planned")
        if arguments.learn:
            raise ConfigError("--learn goes with files: the store knows what was learned")
        with StoreReader(configuration.store.path) as reader:
            return from_store(reader, configuration, look_back_us, since_us, until_us)
    if since_us is not None or until_us is not None:
        raise ConfigError("--from and --to go with the store or the database: a file is replayed as a whole")
    recording = recording_of(arguments.files, arguments, configuration)
    works = (*configuration.works, *plans_of(arguments.plan, configuration))
    return FromFiles(recording, works, arguments.learn)


def _of_database(
    arguments: argparse.Namespace,
    configuration: Configuration,
    look_back_us: int,
    since_us: int | None,
    until_us: int | None,
) -> Input:
    import time

    from tqdm import tqdm

    from collector.database import opened_past
    from collector.errors import ConfigError
    from collector.replay import from_database

    if arguments.files:
        raise ConfigError("a replay is of files or of the database: give one of the two")
    if since_us is None:
        raise ConfigError("--database needs --from: such as --from 2026-03-01T00:00Z --to 2026-03-08T00:00Z")
    span_us = since_us - look_back_us, time.time_ns() // 1000 if until_us is None else until_us
    works = (*configuration.works, *plans_of(arguments.plan, configuration))
    with (
        opened_past(configuration) as past,
        tqdm(desc="Asking the database", unit=" readings", unit_scale=True, disable=None, leave=False) as bar,
    ):
        return from_database(past, configuration, span_us, works, learns=arguments.learn, progress=bar.update)


def recording_of(
    paths: Sequence[Path], arguments: argparse.Namespace, configuration: Configuration
) -> Recording:
    """Read files as the command line says they are written, and tell what of them cannot be read."""
    from collector.payloads import state_value
    from collector.recordings import read_files
    from collector.units import converter

    recording = read_files(
        paths,
        configuration,
        converter,
        state_value,
        form_of(arguments),
        lambda path: _tell(f"Reading {path}"),
    )
    for skipped in recording.skipped:
        _tell(f"skipped {skipped.count}: {skipped.where}: {skipped.reason}")
    return recording


def form_of(arguments: argparse.Namespace) -> Form:
    """How recorded files are written, as the command line says."""
    from collector.recordings import Form

    return Form(arguments.zone, arguments.time_format, arguments.time_column, _units(arguments.unit))


def plans_of(names: Sequence[str], configuration: Configuration) -> list[RecurringWork]:
    """The works of iCalendar files, each perhaps with its tank before it."""
    from collector.calendars import read_file
    from collector.commands.asking import tank_name

    found: list[RecurringWork] = []
    for name in names:
        tank, _, path = name.rpartition("=")
        works, problems = read_file(path, tank_name(tank or None, configuration), configuration)
        for problem in problems:
            _tell(f"skipped: {problem}")
        found += works.works
    return found


def _units(given: Sequence[str]) -> dict[str, str]:
    from collector.errors import ConfigError

    units = {}
    for one in given:
        series, _, unit = one.partition("=")
        if not series.strip() or not unit.strip():
            raise ConfigError(f"--unit {one!r} is no unit of a series: such as temperature=degF")
        units[series.strip().lower()] = unit.strip()
    return units


def answered_after(text: str) -> int | None:
    """Read how long after its first ring an incident is answered, microseconds; None for never."""
    from collector.units import parse_duration

    return None if text.strip().lower() == NEVER else parse_duration(text)


def instant_of(text: str, option: str) -> int:
    """Read a time with an offset that an option gives.

    Raises
    ------
    ConfigError
        If it is none.
    """
    from datetime import datetime

    from collector.errors import ConfigError
    from rules import MICROSECONDS

    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise ConfigError(f"{option} {text!r} is no time with an offset: such as 2026-03-01T00:00Z")
    return round(at.timestamp()) * MICROSECONDS


def _write_report(
    arguments: argparse.Namespace,
    source: Input,
    replayed: Replayed,
    configuration: Configuration,
    outcome: Score | None,
    versions: Sequence[Version | HeatVersion],
) -> None:
    from collector.report import report_html

    names = [path.name for path in arguments.files]
    names = names or ["the database" if arguments.database else "the store"]
    title, recorded = ", ".join(names), source.recording
    text = report_html(title, recorded, replayed, configuration, source.lacks, outcome, versions)
    write_report(arguments.report, text)


def write_report(path: Path, text: str) -> None:
    """Write a report, and say so.

    Raises
    ------
    BrinebellError
        If it cannot be written.
    """
    from collector.errors import BrinebellError

    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BrinebellError(f"{path} cannot be written: {error.strerror}") from error
    _tell(f"{path} is written: open it in a browser.")


def _explained(
    number: int, incidents: Sequence[Incident], reasoning: Reasoning, configuration: Configuration
) -> str:
    from collector.errors import ConfigError
    from collector.wording.explanation import explanation

    for incident in incidents:
        if incident.number == number:
            return explanation(incident, reasoning.steps(number), configuration)
    raise ConfigError(f"there is no incident {number} in this recording: it has {len(incidents)}, from 1 on")


def _tell(line: str) -> None:
    """Say something beside the result, which alone goes to standard output."""
    print(line, file=sys.stderr)
