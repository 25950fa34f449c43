"""Many trials on several cores: what is played, by whom, and what is gathered.

Workers are spawned, never forked, and share nothing: a task is a tank with all trials that are played in it,
so that its fortnight is lived through once. The same seeds give the same verdicts on any number of cores.
"""

from __future__ import annotations

import multiprocessing
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field, replace
from typing import Any

from tqdm import tqdm

from tests.bench.trials import ideal, trial
from tests.bench.trials.cases import CASES
from tests.bench.trials.methods import LIMITS, OTHERS, Method, Stretch, false_rings, ring_minutes
from tests.bench.trials.trial import Month, Verdict
from tests.bench.trials.tuning import Table
from tests.bench.trials.worlds import BASIC


@dataclass(slots=True)
class Played:
    """One fault trial: the engine's verdicts, and what other methods would have made of it.

    `others`: (method, set) -> (channel, option) -> minutes to the first ring at each level. `best`: minutes
    that a CUSUM needs which knows the fault's course.
    """

    name: str
    seed: int
    verdicts: list[Verdict]
    others: dict[tuple[str, str], Table] = field(default_factory=dict)
    best: float | None = None


@dataclass(slots=True)
class LivedThrough:
    """One quiet month: what the engine said, and how often other methods would have rung at each level."""

    months: list[Month]
    others: dict[tuple[str, str], Table] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Task:
    """Faults and seeds to play in one tank, or (without a fault) the number of a quiet month."""

    trials: tuple[tuple[str, int], ...]
    sets: tuple[str, ...]
    volume: float | None = None
    methods: tuple[str, ...] = ()
    with_best: bool = False
    refit_days: int = 1

    def methods_at(self, seed: int) -> list[Method]:
        """Methods to try on a trial: limits on all, the others on the first, for they take long."""
        chosen = [METHODS[name] for name in self.methods]
        return [method for method in chosen if method in LIMITS or seed < OTHERS_BELOW]


# Trials of a fault on which methods other than limits are tried.
OTHERS_BELOW = 60
METHODS = {method.name: method for method in (*LIMITS, *OTHERS)}


def _names(sensors: str, series: Sequence[str]) -> Sequence[str]:
    return series if sensors == "all" else tuple(one for one in series if one in BASIC)


def _sets_of_method(method: Method, sets: Sequence[str]) -> tuple[str, ...]:
    """Fixed limits are tried with every set; what knows the four basic series alone, with these."""
    return tuple(s for s in sets if s == "basic" or method in LIMITS)


def _group(task: Task) -> list[Played]:
    found = []
    for name, seed in task.trials:
        played = trial.play(name, seed, task.volume)
        sets = sets_of(name, task.sets)
        one = Played(name, seed, [trial.judge(played, sensors)[0] for sensors in sets])
        methods = task.methods_at(seed)
        if methods:
            key = trial.world_key(played.case, seed, task.volume)
            known = trial.learned(key)
            stretch = Stretch(
                key,
                played.world,
                known.readings,
                known.now_us,
                played.readings,
                played.from_us,
                played.to_us,
                [(a, b) for _, a, b in played.planned],
            )
            for method in methods:
                for sensors in _sets_of_method(method, sets):
                    names = _names(sensors, played.world.series)
                    table = ring_minutes(method, stretch, names, played.at_us)
                    one.others[method.name, sensors] = table
        if task.with_best and name not in ideal.WITHOUT_COURSE:
            one.best = ideal.best_minutes(played, 1.0)
        found.append(one)
    return found


def _month(task: Task) -> list[LivedThrough]:
    ((_, number),) = task.trials
    lived = trial.live(number)
    one = LivedThrough([trial.judge_month(lived, sensors, task.refit_days)[0] for sensors in task.sets])
    if task.methods:
        known = trial.learned(lived.key)
        stretch = Stretch(
            lived.key,
            lived.world,
            known.readings,
            known.now_us,
            lived.readings,
            lived.from_us,
            lived.to_us,
            [*((d.from_us, d.to_us) for d in lived.found if d.is_told), *lived.excursions],
        )
        for method in (METHODS[name] for name in task.methods):
            for sensors in _sets_of_method(method, task.sets):
                names = _names(sensors, lived.world.series)
                one.others[method.name, sensors] = false_rings(method, stretch, names)
    return [one]


def sets_of(name: str, sets: Sequence[str]) -> tuple[str, ...]:
    """The sets of series with which a fault can be told at all."""
    return tuple(s for s in sets if s == "all" or not CASES[name].only_all)


def spread(
    work: Callable[[Any], list[Any]], tasks: Sequence[Any], workers: int, title: str, unit: str
) -> list[Any]:
    """Results of all tasks, in the order of the tasks."""
    if workers <= 1:
        return [one for task in tqdm(tasks, desc=title, unit=unit, disable=None) for one in work(task)]
    context = multiprocessing.get_context("spawn")
    results: dict[int, list[Any]] = {}
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        waiting = {pool.submit(work, task): place for place, task in enumerate(tasks)}
        for done in tqdm(as_completed(waiting), total=len(tasks), desc=title, unit=unit, disable=None):
            results[waiting[done]] = done.result()
    return [one for place in range(len(tasks)) for one in results[place]]


def fault_tasks(names: Iterable[str], trials: int, first_seed: int, pattern: Task) -> list[Task]:
    """Trials of one tank together, the most first; sets, methods and the rest as in `pattern`."""
    groups: dict[tuple, list[tuple[str, int]]] = defaultdict(list)
    for name in names:
        if sets_of(name, pattern.sets):
            for seed in range(first_seed, first_seed + trials):
                groups[trial.world_key(CASES[name], seed, pattern.volume)].append((name, seed))
    return [replace(pattern, trials=tuple(group)) for group in sorted(groups.values(), key=len, reverse=True)]


def run_faults(
    names: Iterable[str], trials: int, workers: int, pattern: Task, first_seed: int = 0
) -> list[Played]:
    """So many trials of every fault, in the order of the faults and the seeds."""
    names = tuple(names)
    played = spread(_group, fault_tasks(names, trials, first_seed, pattern), workers, "faults", "tank")
    return sorted(played, key=lambda one: (names.index(one.name), one.seed))


def run_months(months: Sequence[int], workers: int, pattern: Task) -> list[LivedThrough]:
    """Quiet months with every set."""
    tasks = [replace(pattern, trials=(("", index),)) for index in months]
    return spread(_month, tasks, workers, "quiet months", "month")
