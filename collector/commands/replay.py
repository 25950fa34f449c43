"""`brinebell replay`: what would have rung in a recording."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.replay import Reasoning
    from rules import Incident

EXAMPLE = "brinebell replay week.csv --config brinebell.toml --explain 1"
SUMMARY = "judge a recorded CSV file with the same engine and print the incidents"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "files", metavar="FILE", nargs="+", type=Path, help="CSV, long (time,series,value) or wide, also .gz"
    )
    parser.add_argument(
        "--config", type=Path, metavar="FILE", help="configuration; without it the shipped example is used"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    form.add_argument(
        "--explain",
        type=int,
        metavar="INCIDENT",
        help="print the reasoning of that incident step by step; the list numbers them",
    )


def run(arguments: argparse.Namespace) -> int:
    """Replay and print; 0 also if nothing rang."""
    from tqdm import tqdm

    from collector.account import incident_object, lasted_text, rfc3339
    from collector.payloads import state_value
    from collector.recordings import join, read_csv, with_derived
    from collector.replay import Reasoning, replay, told
    from collector.settings import load_configuration
    from collector.units import converter
    from collector.wording.times import duration_text

    configuration = load_configuration(arguments.config)
    if arguments.config is None:
        _tell("No --config given: the shipped example configuration is used.")
    files = [read_csv(path, configuration, converter, state_value) for path in arguments.files]
    recording = with_derived(join(files), configuration)
    for skipped in recording.skipped:
        _tell(f"skipped {skipped.count}: {skipped.where}: {skipped.reason}")
    _tell("A CSV file holds nothing learned, planned or answered: faults are judged as in the first week.")
    reasoning = None if arguments.explain is None else Reasoning()
    with tqdm(total=len(recording), unit=" readings", unit_scale=True, disable=None, leave=False) as bar:
        incidents = replay(recording, configuration, bar.update, reasoning)
    if reasoning is not None:
        print(_explained(arguments.explain, incidents, reasoning, configuration))
        return 0
    if arguments.json:
        import orjson

        found = [
            {"number": incident.number} | incident_object(incident, told(incident, configuration))
            for incident in incidents
        ]
        print(orjson.dumps({"incidents": found}, option=orjson.OPT_INDENT_2).decode())
        return 0
    _tell(f"{len(recording):,} readings, {len(incidents)} incident{'' if len(incidents) == 1 else 's'}.")
    for incident in incidents:
        series = ", ".join(f"{incident.tank}/{name}" for name in incident.series)
        late = duration_text(max(0, incident.alarmed_at_us - incident.first_evidence_us))
        when = f"{rfc3339(incident.first_evidence_us)[:16]}Z, alarmed {late} later"
        what = f"{incident.priority}  {incident.cause}  {series}  {lasted_text(incident)}"
        print(f"\n{incident.number}  {when}  {what}")
        for line in told(incident, configuration).splitlines():
            print(f"  {line}")
    return 0


def _explained(
    number: int, incidents: list[Incident], reasoning: Reasoning, configuration: Configuration
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
