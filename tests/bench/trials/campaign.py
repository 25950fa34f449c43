"""Many trials on several cores: what is played, by whom, and what is gathered.

Workers are spawned, never forked, and share nothing: a task is a fault, a tank and the seeds to play in it,
so that a tank's fortnight is lived through once. The same seeds give the same verdicts on any number of cores.
"""

from __future__ import annotations

import multiprocessing
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import Any

from tqdm import tqdm

from tests.bench.trials import trial
from tests.bench.trials.cases import CASES
from tests.bench.trials.trial import Month, Verdict


def _group(task: tuple[str, tuple[int, ...], tuple[str, ...], float | None]) -> list[Verdict]:
    name, seeds, sets, volume = task
    found = []
    for seed in seeds:
        played = trial.play(name, seed, volume)
        found += [trial.judge(played, sensors)[0] for sensors in sets]
    return found


def _month(task: tuple[int, tuple[str, ...], int]) -> list[Month]:
    index, sets, refit_every_days = task
    lived = trial.live(index)
    return [trial.judge_month(lived, sensors, refit_every_days)[0] for sensors in sets]


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


def fault_tasks(
    names: Iterable[str], trials: int, sets: Sequence[str], volume: float | None, first_seed: int
) -> list[tuple[str, tuple[int, ...], tuple[str, ...], float | None]]:
    """Seeds of one tank together."""
    tasks = []
    for name in names:
        chosen = sets_of(name, sets)
        if not chosen:
            continue
        groups: dict[int, list[int]] = defaultdict(list)
        for seed in range(first_seed, first_seed + trials):
            groups[seed % trial.POOL].append(seed)
        tasks += [(name, tuple(seeds), chosen, volume) for seeds in groups.values()]
    return tasks


def run_faults(
    names: Iterable[str],
    trials: int,
    sets: Sequence[str],
    workers: int,
    volume: float | None = None,
    first_seed: int = 0,
) -> list[Verdict]:
    """Verdicts of so many trials a fault and set."""
    return spread(_group, fault_tasks(names, trials, sets, volume, first_seed), workers, "faults", "tank")


def run_months(
    months: Sequence[int], sets: Sequence[str], workers: int, refit_every_days: int = 1
) -> list[Month]:
    """Quiet months with every set."""
    return spread(
        _month, [(i, tuple(sets), refit_every_days) for i in months], workers, "quiet months", "month"
    )
