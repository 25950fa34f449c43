"""Probe faults that people flagged in real recordings: how many are told, how late, and how often in vain?

python -m tests.bench.real_faults [--workers 2] [--files FILE,...] [--list missed,vain] [--write-bounds]

Estuary sondes with human flags and stream sondes with a technician's marks, which lie beside the checkout.
One set of rules for all of them (tests/recordings/sondes.toml), the shipped parameters of the faults, and
baselines fitted anew every week from what came before, as the service fits them. A sea is no tank: it has no
equipment, and its gauges are no sumps, so that of all faults those of probes remain, and of limits what the
sea cannot do.
"""

from __future__ import annotations

import argparse
import json
import platform
import statistics
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pandas as pd
from tqdm import tqdm

from collector.configuration import Configuration
from collector.payloads import state_value
from collector.recordings import read_csv
from collector.settings import load_configuration
from collector.units import converter
from rules import (
    HOUR_US,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Baseline,
    Block,
    Engine,
    Flag,
    Learning,
    PoorFit,
    fit_baseline,
)
from tests.bench.trials.rates import Rate, Share
from tests.recordings.labels import SONDES, Stretch, passed_rows, stretches, table_of
from tests.recordings.signs import SHOWING, SPANS, sign_of

HERE = Path(__file__).parent
RULES = HERE.parent / "recordings" / "sondes.toml"
BESIDE = HERE.resolve().parents[2] / "shared" / "data" / "real"
BOUNDS = HERE / "real_faults.json"
# An alarm speaks for a stretch from its start until an on-delay of an hour and a half behind its end.
GRACE = timedelta(minutes=90)
# Nobody knows when a fault really began: what rings within six hours of a label is not counted as in vain.
MARGIN = timedelta(hours=6)
ROW = timedelta(minutes=15)
REFIT_US = 7 * 24 * HOUR_US
LEARN_US = 28 * 24 * HOUR_US
MONTH_DAYS = 30.4375
# What a logger did not write is no verdict on what was measured.
OUTAGES = ("probe_silent", "mains_power_lost")


@dataclass(slots=True)
class Seen:
    """What became of one rejected stretch: the first alarm of its own probe, and the first of any kind.

    `beside` says whether a probe fault of another series of the same sonde was told meanwhile.
    """

    series: str
    stretch: Stretch
    sign: str
    cause: str = ""
    hours: float = float("nan")
    other: str = ""
    beside: bool = False


@dataclass(slots=True)
class Judged:
    """What was told of one file: its stretches, clean months by series, and alarms in these."""

    file: str
    seen: list[Seen] = field(default_factory=list)
    months: dict[str, float] = field(default_factory=dict)
    in_vain: list[tuple[str, str, str]] = field(default_factory=list)
    outages: int = 0


# -- hearing ---------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _configuration() -> Configuration:
    return load_configuration(RULES, {})


def listen(path: Path) -> list[AlarmRaised]:
    """All alarms of a file, with baselines that follow."""
    configuration = _configuration()
    blocks = list(read_csv(path, configuration, converter, state_value).blocks())
    times = np.concatenate([block.times_us for block in blocks])
    values = np.concatenate([block.values for block in blocks])
    series = np.concatenate([block.series for block in blocks])
    engine = Engine(configuration.engine)
    heard: list[AlarmRaised] = []
    is_good = np.ones(len(times), bool)
    running: dict[AlarmKey, int] = {}
    ended: list[tuple[int, int]] = []
    first = 0
    for cut in [*range(int(times[0]) + REFIT_US, int(times[-1]), REFIT_US), int(times[-1]) + 1]:
        last = int(np.searchsorted(times, cut))
        outcome = engine.advance(Block(times[first:last], values[first:last], series[first:last]))
        is_good[first:last] = np.array(outcome.primary) != Flag.FAIL
        for event in outcome.events:
            if isinstance(event, AlarmRaised):
                heard.append(event)
                running[event.alarm] = event.first_evidence_us
            elif isinstance(event, AlarmReturned) and event.alarm in running:
                ended.append((running.pop(event.alarm), event.at_us))
        first = last
        # Incidents are the tank's: what one series told of leaves all of them out, as in the service.
        excluded = [span for span in ended if span[1] > cut - LEARN_US]
        excluded += [(start_us, cut) for start_us in running.values()]
        rows = slice(int(np.searchsorted(times, cut - LEARN_US, side="right")), last)
        engine.set_baselines(
            _fitted(configuration, times[rows], values[rows], series[rows], is_good[rows], excluded)
        )
    return heard


def _fitted(
    configuration: Configuration,
    times: np.ndarray,
    values: np.ndarray,
    series: np.ndarray,
    is_good: np.ndarray,
    excluded: list[tuple[int, int]],
) -> dict[int, Baseline]:
    found: dict[int, Baseline] = {}
    for index, rules in enumerate(configuration.engine.series):
        mine = (series == index) & is_good
        fitted = fit_baseline(times[mine], values[mine], "UTC", rules.quantity, excluded)
        if not isinstance(fitted, Learning | PoorFit):
            found[index] = fitted
    return found


# -- comparing -------------------------------------------------------------------------------------


def judge(file: str, folder: Path = BESIDE) -> Judged:
    """Hear a file and lay what was told beside what people marked."""
    heard = listen(folder / file)
    table, times = table_of(folder / file)
    found = Judged(file, outages=sum(alarm.alarm.cause in OUTAGES for alarm in heard))
    told = {
        name: [alarm for alarm in heard if alarm.alarm.series == name and alarm.alarm.cause not in OUTAGES]
        for name in SPANS
        if name in table
    }
    for name, mine in told.items():
        values = pd.to_numeric(table[name], errors="coerce").to_numpy(float)
        passed = passed_rows(table, name)
        at = pd.to_datetime([alarm.at_us for alarm in mine], unit="us", utc=True)
        is_known = np.zeros(len(mine), bool)
        for stretch in stretches(table, times, name):
            rows = times.searchsorted(stretch.start), times.searchsorted(stretch.end)
            seen = Seen(name, stretch, sign_of(name, values, passed, *rows))
            is_known |= _look(seen, mine, at)
            others = (alarm for other, alarms in told.items() if other != name for alarm in alarms)
            seen.beside = any(_is_of_probe(one) and _is_within(one, stretch) for one in others)
            found.seen.append(seen)
        clear = _clear(passed)
        found.months[name] = float(np.count_nonzero(clear) * (ROW / timedelta(days=1)) / MONTH_DAYS)
        places = np.clip(times.searchsorted(at), 0, len(times) - 1)
        found.in_vain += [
            (name, alarm.alarm.cause, f"{instant:%Y-%m-%dT%H:%M}")
            for place, alarm, instant, known in zip(places, mine, at, is_known, strict=True)
            if clear[place] and not known
        ]
    return found


def _look(seen: Seen, mine: Sequence[AlarmRaised], at: pd.DatetimeIndex) -> np.ndarray:
    """Note the alarms of the stretch's own series within it; return which these are."""
    inside = np.array([_is_within(alarm, seen.stretch) for alarm in mine], bool)
    for place in np.flatnonzero(inside):
        alarm = mine[place]
        seen.other = seen.other or alarm.alarm.cause
        if _is_of_probe(alarm) and not seen.cause:
            seen.cause = alarm.alarm.cause
            seen.hours = (at[place] - seen.stretch.start) / timedelta(hours=1)
    return inside


def _is_of_probe(alarm: AlarmRaised) -> bool:
    return alarm.alarm.cause.startswith("probe_")


def _is_within(alarm: AlarmRaised, stretch: Stretch) -> bool:
    at = pd.Timestamp(alarm.at_us, unit="us", tz="UTC")
    return bool(stretch.start <= at <= stretch.end + GRACE)


def _clear(passed: np.ndarray) -> np.ndarray:
    """Rows farther than the margin from any that somebody marked."""
    rows = round(MARGIN / ROW)
    return np.convolve(~passed, np.ones(2 * rows + 1), mode="same") < 0.5


# -- telling ---------------------------------------------------------------------------------------


def tables(found: Sequence[Judged]) -> str:
    """The tables as they stand in README.md."""
    seen = [one for judged in found for one in judged.seen]
    lines = ["| what the stretch shows | n | probe fault told % | any alarm % | median | 90 % | as |"]
    lines.append("|---|---|---|---|---|---|---|")
    for sign in (*SHOWING, "nothing", "unknown"):
        lines.append(_row(sign, [one for one in seen if one.sign == sign]))
    shown = [one for one in seen if one.sign in SHOWING]
    lines.append(_row("**all that show anything**", shown))
    lines.append(
        _row("**the same without levels**", [s for s in shown if s.series not in ("depth", "stage")])
    )
    lines.append(_row("**all**", seen))
    lines += ["", "| series: what people said | n | of these show | told of these % | told of all % |"]
    lines.append("|---|---|---|---|---|")
    kinds = sorted({(one.series, one.stretch.kind) for one in seen})
    for series, kind in kinds:
        own = [one for one in seen if (one.series, one.stretch.kind) == (series, kind)]
        showing = [one for one in own if one.sign in SHOWING]
        lines.append(f"| {series}: {kind} | {len(own)} | {len(showing)} | {_told(showing)} | {_told(own)} |")
    lines += ["", "| series | clean months | probe faults a month | any alarm a month | what |"]
    lines.append("|---|---|---|---|---|")
    for series in (*SPANS, "all"):
        months = sum(
            judged.months.get(one, 0.0) for judged in found for one in SPANS if series in (one, "all")
        )
        causes = Counter(
            cause for judged in found for name, cause, _ in judged.in_vain if series in (name, "all")
        )
        of_probes = sum(count for cause, count in causes.items() if cause.startswith("probe_"))
        what = ", ".join(f"{cause} {count}" for cause, count in causes.most_common()) or "-"
        rates = f"{Rate(of_probes, months)} | {Rate(causes.total(), months)}"
        lines.append(f"| {series} | {months:.1f} | {rates} | {what} |")
    beside = sum(one.beside and not one.cause for one in shown)
    lines += ["", f"Of those that show anything and were not told, {beside} were told by another series."]
    return "\n".join(lines)


def _told(some: Iterable[Seen]) -> Share:
    some = list(some)
    return Share(sum(bool(one.cause) for one in some), len(some))


def _row(name: str, some: list[Seen]) -> str:
    hours = sorted(one.hours for one in some if one.cause)
    middle = f"{statistics.median(hours):.1f} h" if hours else "-"
    most = f"{hours[int(0.9 * (len(hours) - 1))]:.1f} h" if hours else "-"
    anything = Share(sum(bool(one.other) for one in some), len(some))
    causes = Counter(one.cause for one in some if one.cause).most_common()
    what = ", ".join(f"{cause.removeprefix('probe_')} {count}" for cause, count in causes) or "-"
    return f"| {name} | {len(some)} | {_told(some)} | {anything} | {middle} | {most} | {what} |"


def bounds_of(judged: Judged) -> dict[str, dict[str, int]]:
    """Counts of a file to which the test holds: stretches told and probe alarms in vain, by series."""
    counts: dict[str, dict[str, int]] = defaultdict(lambda: {"told": 0, "told_of_showing": 0, "in_vain": 0})
    for name in judged.months:
        own = [one for one in judged.seen if one.series == name and one.cause]
        counts[name]["told"] = len(own)
        counts[name]["told_of_showing"] = sum(one.sign in SHOWING for one in own)
        counts[name]["in_vain"] = sum(
            series == name and cause.startswith("probe_") for series, cause, _ in judged.in_vain
        )
    return dict(counts)


def _details(found: Sequence[Judged], wanted: Sequence[str]) -> Iterable[str]:
    for judged in found:
        for one in judged.seen:
            if "missed" in wanted and not one.cause and one.sign in SHOWING:
                span = f"{one.stretch.start:%Y-%m-%dT%H:%M} to {one.stretch.end:%Y-%m-%dT%H:%M}"
                yield f"missed {judged.file} {one.series} {span} {one.stretch.kind}: {one.sign} {one.other}"
        if "vain" in wanted:
            yield from (f"in vain {judged.file} {' '.join(one)}" for one in judged.in_vain)


def judge_all(files: Sequence[str], workers: int) -> list[Judged]:
    """Each file in one process."""
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return list(tqdm(pool.map(judge, files), total=len(files), unit="file", disable=None))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--workers", type=int, default=2, help="processes (default 2)")
    parser.add_argument("--files", help="only these, separated by commas")
    parser.add_argument("--list", default="", help="missed and vain: name each of them")
    parser.add_argument("--write-bounds", action="store_true", help="keep the counts: the test holds to them")
    options = parser.parse_args()
    files = options.files.split(",") if options.files else SONDES
    started = time.monotonic()
    found = judge_all(files, options.workers)
    machine = f"{datetime.now(UTC):%Y-%m-%d}, {platform.machine()}, CPython {platform.python_version()}"
    print(f"{machine}, {options.workers} workers, {time.monotonic() - started:.0f} s\n")
    print(tables(found))
    for line in _details(found, options.list.split(",")):
        print(line)
    if options.write_bounds:
        bounds = json.loads(BOUNDS.read_text()) if BOUNDS.exists() else {}
        bounds.update({judged.file: bounds_of(judged) for judged in found})
        BOUNDS.write_text(json.dumps(bounds, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    main()
