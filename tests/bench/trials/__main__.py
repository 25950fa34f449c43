"""The command: `python -m tests.bench.trials --help`."""

from __future__ import annotations

import argparse
import pickle
import platform
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.trials import bounds, campaign, explain, lead, tables
from tests.bench.trials.cases import CASES
from tests.bench.trials.methods import LIMITS

# Trials a fault, quiet tank-months, and beside what. The short form is what the test suite plays.
FORMS = {"short": (2, 2, "none"), "long": (200, 18, "all")}


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.trials",
        description="Trials of the engine on computed tanks: faults, quiet months, and what else there is.",
        epilog="example: python -m tests.bench.trials --only leak,probe_stuck --trials 20 --workers 2",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--form", choices=sorted(FORMS), default="short", help="2 trials and 2 months, or 200 and 18"
    )
    parser.add_argument("--trials", type=int, help="trials a fault, instead of those of the form")
    parser.add_argument("--months", type=int, help="quiet tank-months, instead of those of the form")
    parser.add_argument("--only", help="faults, separated by commas")
    parser.add_argument("--sets", default="all,basic", help="all, basic or both (default)")
    parser.add_argument("--workers", type=int, default=2, help="processes (default 2)")
    parser.add_argument("--first-seed", type=int, default=0, help="seed of the first trial (default 0)")
    parser.add_argument("--refit-days", type=int, default=1, help="nights between two fits of baselines")
    parser.add_argument("--quiet-only", action="store_true", help="no faults")
    parser.add_argument("--faults-only", action="store_true", help="no quiet months")
    parser.add_argument("--size", type=float, help="litres of every tank, instead of all sizes in turn")
    parser.add_argument(
        "--compare",
        choices=("none", "limits", "all"),
        help="beside nothing (short form), fixed limits and the ideal CUSUM, or these and others (long form)",
    )
    parser.add_argument(
        "--list",
        choices=("wrong", "all"),
        help="print a line for each trial: all, or those missed or misnamed",
    )
    parser.add_argument("--out", type=Path, help="write the tables there, too")
    parser.add_argument(
        "--write-bounds", action="store_true", help="keep the counts in trials.json: the test holds to them"
    )
    parser.add_argument("--keep", type=Path, help="keep verdicts and months there, for other tables")
    parser.add_argument("--fault", choices=sorted(CASES), help="with --explain: the fault of one trial")
    parser.add_argument("--seed", type=int, default=0, help="with --explain: its seed")
    parser.add_argument("--quiet-month", type=int, help="with --explain: number of one quiet month")
    parser.add_argument("--explain", action="store_true", help="tell one trial minute by minute")
    return parser


def main() -> int:
    """Run what was asked for."""
    parser = _parser()
    options = parser.parse_args()
    sets = tuple(options.sets.split(","))
    names = tuple(CASES) if not options.only else tuple(options.only.split(","))
    for unknown in {*names} - {*CASES}:
        parser.error(f"no such fault {unknown}: {', '.join(CASES)}")
    for unknown in {*sets} - {"all", "basic"}:
        parser.error(f"no such set of series {unknown}: all, basic")
    if options.explain:
        return _explain(parser, options, sets)
    trials, months, compare = FORMS[options.form]
    options.compare = options.compare or compare
    trials = options.trials or trials
    months = months if options.months is None else options.months
    begun = time.perf_counter()
    methods = {"none": (), "limits": tuple(method.name for method in LIMITS), "all": tuple(campaign.METHODS)}[
        options.compare
    ]
    pattern = campaign.Task((), sets, options.size, methods, bool(methods), options.refit_days)
    played, lived = [], []
    if not options.quiet_only:
        played = campaign.run_faults(names, trials, options.workers, pattern, options.first_seed)
    if not options.faults_only:
        lived = campaign.run_months(range(months), options.workers, pattern)
    if options.keep:
        options.keep.write_bytes(pickle.dumps((played, lived)))
    text = _report(options, played, lived, sets, time.perf_counter() - begun)
    print(text)
    if options.write_bounds:
        found = bounds.summary(
            [v for one in played for v in one.verdicts], [m for one in lived for m in one.months]
        )
        bounds.write(options.form, found, text.splitlines()[0])
    if options.out:
        options.out.write_text(text, encoding="utf-8")
    return 0


def _explain(parser: argparse.ArgumentParser, options: argparse.Namespace, sets: tuple[str, ...]) -> int:
    if options.quiet_month is not None:
        print(explain.month(options.quiet_month, sets))
    elif options.fault:
        print(explain.fault(options.fault, options.seed, options.size, campaign.sets_of(options.fault, sets)))
    else:
        parser.error("--explain needs --fault NAME --seed NUMBER, or --quiet-month NUMBER")
    return 0


def _report(
    options: argparse.Namespace,
    played: list[campaign.Played],
    lived: list[campaign.LivedThrough],
    sets: tuple[str, ...],
    seconds: float,
) -> str:
    verdicts = [v for one in played for v in one.verdicts]
    quiet = [m for one in lived for m in one.months]
    said = " ".join(sys.argv[1:])
    machine = f"{datetime.now(UTC):%Y-%m-%d}, {platform.machine()}, CPython {platform.python_version()}"
    parts = [f"{machine}, {options.workers} workers, {seconds:.0f} s: `{said}`\n"]
    if options.list:
        parts.append(tables.trials(verdicts, only_wrong=options.list == "wrong"))
    for name in sets:
        if any(v.sensors == name for v in verdicts):
            parts += [f"## Faults, {name} series\n", tables.faults(verdicts, name)]
            parts.append(tables.confusion(verdicts, name))
    if verdicts:
        parts += ["## False alarms in the quiet days before the faults\n", tables.before(verdicts)]
    if quiet:
        parts += ["## Quiet tank-months\n", tables.quiet(quiet)]
        for name in sets:
            parts += [f"{name} series:\n", tables.quiet_causes(quiet, name)]
    if played and lived and options.compare != "none":
        for name in sets:
            parts += [f"## Beside fixed limits tuned to the same false alarms, {name} series\n"]
            parts.append(lead.limits(played, lived, name))
    if played and lived and options.compare == "all" and "basic" in sets:
        parts += ["## Beside other methods at the same false alarms, basic series\n"]
        parts.append(f"The first {campaign.OTHERS_BELOW} trials of each fault at most.\n")
        parts.append(lead.others(played, lived, "basic"))
    if any(one.best is not None for one in played):
        for name in sets:
            parts += [f"## Beside a CUSUM that knows the fault's course, {name} series\n"]
            parts.append(lead.best(played, name))
    return "\n".join(parts)


if __name__ == "__main__":
    sys.exit(main())
