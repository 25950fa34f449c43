"""`brinebell tune`: which settings would have rung earlier, and less often for nothing, in recorded weeks."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.replay import (
    add_beside_arguments,
    add_reading_arguments,
    answered_after,
    plans_of,
    recording_of,
)

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.learning import HeatVersion, Version
    from collector.recurrence import RecurringWork
    from collector.tuning import Part
    from rules import Weights

EXAMPLE = (
    "brinebell tune may/ june/ --config brinebell.toml"
    " --try 'tanks.reef.series.temperature.alarm_low=23.5 degC..24.5 degC'"
)
SUMMARY = "search for better settings on recorded weeks, and say how sure that is"
WEIGHTS = "delay=1, missed=48, false=4, night=12"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "files",
        metavar="FILE",
        nargs="*",
        type=Path,
        help="as `brinebell replay` takes them; without any, what the service has recorded in its own store, "
        "held against the verdicts that were given on the pages of its incidents",
    )
    parser.add_argument(
        "--config", type=Path, metavar="FILE", required=True, help="the configuration that is tuned"
    )
    parser.add_argument(
        "--try",
        dest="tries",
        action="append",
        required=True,
        metavar="KEY=VALUES",
        help="a key with its tables, and FIRST..LAST or ONE, ANOTHER; may be given several times",
    )
    parser.add_argument("--steps", type=int, default=7, metavar="N", help="values of a range (7)")
    parser.add_argument(
        "--most", type=int, default=200, metavar="N", help="combinations; of more, so many by chance (200)"
    )
    parser.add_argument(
        "--weights",
        default=WEIGHTS,
        help=f"what you mind how much: an hour of delay, a missed cause, a false alarm, a ring at night for "
        f"one ({WEIGHTS})",
    )
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, help="processes (all cores)")
    parser.add_argument(
        "--report",
        type=Path,
        metavar="FILE",
        help="write one HTML file with the trade-off and charts of the weeks, which opens offline",
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    form.add_argument(
        "--apply",
        action="store_true",
        help="write the best into the configuration; the old file is kept",
    )
    add_beside_arguments(parser.add_argument_group("what goes with the recording"))
    add_reading_arguments(parser.add_argument_group("how the files are written"))


def run(arguments: argparse.Namespace) -> int:
    """Search, print, and write where that is wanted."""
    from datetime import UTC, datetime

    from tqdm import tqdm

    from collector.settings import load_configuration
    from collector.tuning import (
        Recorded,
        candidates,
        choose,
        parse_parameter,
        patched,
        search,
        tuned_lines,
        tuned_object,
        written,
    )
    from collector.tuning.candidates import neighbours
    from collector.tuning.editing import patch_text

    configuration = load_configuration(arguments.config)
    parameters = [parse_parameter(text, arguments.steps) for text in arguments.tries]
    weights = _weights(arguments.weights)
    works = (*configuration.works, *plans_of(arguments.plan, configuration))
    if arguments.files:
        parts = tuple(_parts(arguments, configuration, works))
    else:
        part, works = _part_of_store(arguments, configuration)
        parts = (part,)
    recorded = Recorded(
        parts,
        works,
        configuration.text,
        arguments.config.absolute().parent,
        answered_after(arguments.answered_after),
    )
    tried_ones = candidates(parameters, arguments.most)
    with tqdm(total=len(tried_ones) + 1, unit=" settings", disable=None, leave=False) as bar:
        before, tried = search(recorded, parameters, tried_ones, arguments.workers, bar.update)
    if len(tried) < len(tried_ones):
        left_out = len(tried_ones) - len(tried)
        _tell(f"Left out: {left_out} of {len(tried_ones)} combinations are no configuration by themselves.")
    chosen = choose(before, tried, weights, lambda one: neighbours(one, parameters))
    changes = dict(zip((one.path for one in parameters), chosen.best.candidate, strict=False))
    if arguments.report is not None:
        from collector.commands.replay import write_report
        from collector.report import tune_html
        from collector.tuning.search import configuration_of

        names = ", ".join(path.name for path in arguments.files) or "the store"
        after = configuration_of(recorded, changes) if changes else configuration
        patch = patch_text(changes, configuration.text)
        described = (parameters, weights, recorded.parts, configuration, after, patch)
        write_report(arguments.report, tune_html(names, chosen, tried, *described))
    if arguments.json:
        import orjson

        found = tuned_object(chosen, parameters, weights)
        print(orjson.dumps(found, option=orjson.OPT_INDENT_2).decode())
        return 0
    for line in tuned_lines(chosen, weights, patch_text(changes, configuration.text), len(tried)):
        print(line)
    if arguments.apply and changes:
        text = patched(configuration.text, changes)
        kept = written(arguments.config, text, datetime.now(UTC))
        _tell(
            f"Written to {arguments.config}. A running service takes it on SIGHUP: systemctl reload brinebell"
        )
        _tell(f"To go back: mv {kept} {arguments.config}")
    return 0


def _parts(
    arguments: argparse.Namespace, configuration: Configuration, works: Sequence[RecurringWork]
) -> Iterator[Part]:
    """Each folder with its annotation files; or all files as one recording, with those of --truth."""
    from collector.annotations import read_annotations
    from collector.errors import ConfigError
    from collector.replay import Replay
    from collector.tuning import Part

    truths: list[tuple[list[Path], list[Path]]] = []
    if arguments.truth is not None:
        truths = [(arguments.files, [arguments.truth])]
    else:
        for path in arguments.files:
            beside = sorted(path.glob("*.annotations.toml")) if path.is_dir() else []
            if not beside:
                raise ConfigError(
                    f"{path}: there is no annotation file in it, which says what truly happened: "
                    "name one with --truth, or give folders that hold NAME.annotations.toml"
                )
            truths.append(([path], beside))
    for paths, beside in truths:
        recording = recording_of(paths, arguments, configuration)
        annotations = [one for path in beside for one in read_annotations(path, configuration)]
        versions: tuple[Version | HeatVersion, ...] = ()
        if arguments.learn:
            _tell("Learning what is usual, night by night.")
            learner = Replay(configuration)
            learner.recording(recording, works, learns=True)
            versions = tuple(learner.learned)
        yield Part(recording, versions, tuple(annotations))


def _part_of_store(
    arguments: argparse.Namespace, configuration: Configuration
) -> tuple[Part, tuple[RecurringWork, ...]]:
    """All that the service recorded, and the works that it knew."""
    from collector.annotations import read_annotations
    from collector.errors import ConfigError
    from collector.replay import from_store, reviewed, works_of_store
    from collector.store import StoreReader
    from collector.tuning import Part

    if arguments.plan or arguments.learn:
        raise ConfigError("--plan and --learn go with files: the store knows what was planned and learned")
    with StoreReader(configuration.store.path) as reader:
        said = reviewed(reader)
        annotations = said.annotations
        if arguments.truth is not None:
            annotations = read_annotations(arguments.truth, configuration)
        elif not annotations:
            raise ConfigError(
                "no incident in the store has a verdict yet: say on its page what it was, or name an "
                "annotation file with --truth"
            )
        elif said.lacks:
            _tell(f"{said.lacks}.")
        source = from_store(reader, configuration, 0, None, None)
        tanks = tuple(tank.name for tank in configuration.tanks)
        return Part(source.recording, source.versions, annotations), works_of_store(reader, tanks)


def _weights(text: str) -> Weights:
    from collector.errors import ConfigError
    from rules import Weights

    given = {}
    for part in filter(None, (one.strip() for one in text.split(","))):
        name, _, number = part.partition("=")
        try:
            given[name.strip()] = float(number)
        except ValueError:
            given[name.strip()] = -1.0
    if given.keys() - {"delay", "missed", "false", "night"} or any(value < 0.0 for value in given.values()):
        raise ConfigError(f"--weights {text!r}: write them like '{WEIGHTS}'")
    return Weights(**given)


def _tell(line: str) -> None:
    print(line, file=sys.stderr)
