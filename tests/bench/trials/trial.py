"""One trial from seed to verdict: the tank, its fortnight, the fault or the month, and what was heard."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from tests.bench.trials import adapter
from tests.bench.trials.adapter import Heard, Ring
from tests.bench.trials.cases import CASES, FAMILIES, Case, Scene
from tests.bench.trials.life import MONTH_DAYS, Disturbance, Life, blamed, excursions
from tests.bench.trials.probes import Readings, Tampering, read
from tests.bench.trials.truth import Drivers, State, Truth, quiet_drivers, run, settled
from tests.bench.trials.worlds import (
    BASIC,
    BEFORE_SUMMER_TIME_US,
    DAY_MINUTES,
    LEARNING_DAYS,
    MINUTE_US,
    SIZES,
    World,
    draw_world,
    stream,
)

# Tanks of one kind that the trials of a fault share; each is lived through and learned once.
POOL = 20
SETS = ("all", "basic")


@dataclass(slots=True)
class Verdict:
    """What became of one fault trial. Delays in minutes from the fault's start; None where nothing rang."""

    fault: str
    sensors: str
    seed: int
    volume: float
    every_s: int
    detail: str
    delay: float | None = None
    urgent_delay: float | None = None
    first_cause: str = ""
    last_cause: str = ""
    priority: str = ""
    is_right: bool = False
    is_right_later: bool = False
    is_family: bool = False
    is_family_later: bool = False
    is_named: bool = False
    rings: int = 0
    before: list[tuple[str, str]] = field(default_factory=list)
    before_days: float = 0.0

    @property
    def is_caught(self) -> bool:
        return self.delay is not None


@dataclass(slots=True)
class Month:
    """What rang in a month without a failure: cause, priority, disturbance, whether told, instant.

    `right` counts rings about water that truly was, or within a day would be, beyond the keeper's limits;
    they are not among `rings`.
    """

    index: int
    sensors: str
    world: World
    rings: list[tuple[str, str, str, bool, int]]
    days: float
    right: int = 0


# -- a tank and its fortnight ----------------------------------------------------------------------


@dataclass(slots=True)
class Learned:
    """A tank after its fortnight: the state it is in, and what its probes showed."""

    world: World
    state: State
    readings: Readings
    now_us: int
    planned: list[tuple[str, int, int]]


@lru_cache(maxsize=4)
def learned(world_key: tuple) -> Learned:
    """Live through the fortnight of a tank; with one water change in it, and its daily feeding."""
    world = draw_world(world_key[0], **dict(world_key[1]))
    state = settled(world)
    # Two days to come to rest, of which nothing is recorded.
    rest = quiet_drivers(
        world, world.start_us - 2 * DAY_MINUTES * MINUTE_US, 2 * DAY_MINUTES, stream(world.seed, "r")
    )
    run(world, state, rest)
    drivers = quiet_drivers(
        world, world.start_us, LEARNING_DAYS * DAY_MINUTES, stream(world.seed, "fortnight")
    )
    scene = Scene(world, drivers, 0, stream(world.seed, "fortnight's life"))
    life = Life(scene, 0)
    life.note_feeding()
    if world.seed % 2:
        life.change_water(6 * DAY_MINUTES + 1000, is_told=False)
    readings = read(world, run(world, state, drivers), scene.tampering, "fortnight")
    now_us = world.start_us + LEARNING_DAYS * DAY_MINUTES * MINUTE_US
    return Learned(world, state, readings, now_us, life.planned)


@lru_cache(maxsize=8)
def known_of(world_key: tuple, sensors: str) -> adapter.Known:
    """What is learned after the fortnight, for a set of series."""
    known = learned(world_key)
    world = watched(known.world, sensors)
    configuration = adapter.configuration_of(adapter.settings_text(world))
    return adapter.fit(configuration, known.readings, known.now_us, known.planned)


def watched(world: World, sensors: str) -> World:
    """The tank with one set of series; the four basic ones hang on two boards."""
    if sensors == "all":
        return world
    return replace(world, series=BASIC)


def world_key(case: Case, seed: int, volume: float | None = None) -> tuple:
    """Which tank a trial happens in: one of a pool, so that fortnights are shared."""
    place = seed % POOL
    wishes = dict(case.wishes)
    # Sizes go round; what else a tank is, is drawn.
    wishes["volume"] = SIZES[place % len(SIZES)] if volume is None else volume
    if case.hours > 100:
        wishes["every_s"] = (60, 300)[place % 2]
    return (place, tuple(sorted(wishes.items())))


# -- fault trials ----------------------------------------------------------------------------------


@dataclass(slots=True)
class Played:
    """A fault trial as it happened, for any judge to hear."""

    case: Case
    seed: int
    world: World
    at_us: int
    from_us: int
    to_us: int
    detail: str
    readings: Readings
    boards: list[tuple[int, str, bool]]
    planned: list[tuple[str, int, int]]
    truth: Truth
    drivers: Drivers


def play(name: str, seed: int, volume: float | None = None, *, is_clean: bool = False) -> Played:
    """Let a fault happen in its tank; `is_clean` plays the same days without it."""
    case = CASES[name]
    known = learned(world_key(case, seed, volume))
    world = known.world
    rng = stream(seed, name, "trial")
    start = case.warm_days * DAY_MINUTES + int(rng.integers(DAY_MINUTES))
    minutes = (case.warm_days + 3) * DAY_MINUTES + int(case.hours * 60) + 1
    drivers = quiet_drivers(world, known.now_us, minutes, stream(seed, name, "days"))
    if case.called_on:
        start = _called_on(known, drivers, case.called_on, start)
    scene = Scene(world, drivers, start, rng)
    life = Life(scene, 0)
    life.note_feeding()
    if case.at_work:
        life.change_water(start, is_told=True)
    detail = "nothing" if is_clean else case.put(scene)
    truth = run(world, copy.copy(known.state), drivers)
    for change in scene.after_run:
        change(truth)
    readings = read(world, truth, scene.tampering, seed, name)
    at_us = scene.at_us
    # The days were drawn longer than is heard, so that the same ones come with and without the fault.
    return Played(
        case,
        seed,
        world,
        at_us,
        known.now_us,
        at_us + int(case.hours * 3600) * 1_000_000,
        detail,
        readings,
        scene.boards,
        life.planned,
        truth,
        drivers,
    )


def _called_on(known: Learned, drivers: Drivers, name: str, start: int) -> int:
    """First minute from `start` on, within two days, at which the equipment that is to fail comes on."""
    power = run(known.world, copy.copy(known.state), drivers).columns[name]
    comes_on = np.flatnonzero((power[1:] > 0) & (power[:-1] == 0)) + 1
    later = comes_on[(comes_on >= start) & (comes_on < start + 2 * DAY_MINUTES)]
    return int(later[0]) if len(later) else start


def judge(played: Played, sensors: str) -> tuple[Verdict, Heard]:
    """Let the engine hear a fault trial with a set of series."""
    case, world = played.case, watched(played.world, sensors)
    known = known_of(world_key(case, played.seed, world.volume), sensors)
    heard = adapter.listen(
        world,
        known,
        played.readings,
        from_us=played.from_us,
        to_us=played.to_us,
        boards=[word for word in played.boards if word[1] in world.boards],
        planned=played.planned,
    )
    verdict = Verdict(case.name, sensors, played.seed, world.volume, world.every_s, played.detail)
    verdict.before = [
        (r.cause, r.priority.value) for r in heard.rings if r.at_us < played.at_us and not r.is_again
    ]
    verdict.before_days = (played.at_us - played.from_us) / (DAY_MINUTES * MINUTE_US)
    after = [ring for ring in heard.rings if played.at_us <= ring.at_us <= played.to_us]
    verdict.rings = len(after)
    if after:
        _score(verdict, case, played, after, heard)
    return verdict, heard


def _score(verdict: Verdict, case: Case, played: Played, after: list[Ring], heard: Heard) -> None:
    first = after[0]
    verdict.delay = (first.at_us - played.at_us) / MINUTE_US
    urgent = [ring for ring in after if ring.priority == "urgent"]
    if urgent:
        verdict.urgent_delay = (urgent[0].at_us - played.at_us) / MINUTE_US
    # What the person would read in the end: the last word on any incident of this fault.
    later = [r for r in (*after, *heard.changes) if first.at_us <= r.at_us <= played.to_us]
    named = {ring.number: ring for ring in sorted(later, key=lambda r: r.at_us)}
    causes = {ring.cause for ring in named.values()}
    last = named[first.number]
    verdict.first_cause, verdict.last_cause, verdict.priority = first.cause, last.cause, first.priority.value
    verdict.is_right = first.cause in case.causes
    verdict.is_right_later = bool(causes & set(case.causes))
    verdict.is_family = FAMILIES.get(first.cause) == case.family
    verdict.is_family_later = any(FAMILIES.get(cause) == case.family for cause in causes)
    verdict.is_named = verdict.is_right or any(cause in case.causes for cause in first.rivals)


# -- quiet months ----------------------------------------------------------------------------------


@dataclass(slots=True)
class Lived:
    """A quiet month as it happened, for any judge to hear."""

    index: int
    world: World
    key: tuple
    from_us: int
    to_us: int
    readings: Readings
    boards: list[tuple[int, str, bool]]
    found: list[Disturbance]
    planned: list[tuple[str, int, int]]
    excursions: list[tuple[int, int]]


def live(index: int) -> Lived:
    """Let a tank live through a month without a failure."""
    kind = "cooled" if index % 4 == 3 else "heated"
    wishes: dict[str, object] = {"volume": SIZES[index % len(SIZES)], "kind": kind}
    # Two in three are watched once a minute; one in six stands where the clocks go forward.
    wishes["every_s"] = (60, 60, 300, 60, 60, 10)[index % 6]
    wishes["before_summer_time"] = index % 6 == 1
    wishes["is_automatic"] = index % 7 != 6
    key = (1000 + index, tuple(sorted(wishes.items())))
    known = learned(key)
    world = known.world
    drivers = quiet_drivers(world, known.now_us, MONTH_DAYS * DAY_MINUTES, stream(index, "month"))
    scene = Scene(world, drivers, 0, stream(index, "month's life"), Tampering())
    life = Life(scene, index)
    life.live()
    truth = run(world, copy.copy(known.state), drivers)
    readings = read(world, truth, scene.tampering, index, "month")
    if world.start_us == BEFORE_SUMMER_TIME_US:
        life._note("clocks forward", _clock_row(world), DAY_MINUTES)
    to_us = known.now_us + MONTH_DAYS * DAY_MINUTES * MINUTE_US
    low, high = adapter.TEMPERATURE_LOW, adapter.temperature_high(world)
    beyond = excursions(truth.columns["temperature"], low, high, known.now_us)
    return Lived(
        index, world, key, known.now_us, to_us, readings, scene.boards, life.found, life.planned, beyond
    )


def _clock_row(world: World) -> int:
    # 2026-03-29T01:00Z.
    return (1_774_746_000 * 1_000_000 - world.start_us) // MINUTE_US - LEARNING_DAYS * DAY_MINUTES


def judge_month(lived: Lived, sensors: str, refit_every_days: int = 1) -> tuple[Month, Heard]:
    """Let the engine hear a quiet month, what is learned fitted again every so many nights."""
    world = watched(lived.world, sensors)
    day_us = DAY_MINUTES * MINUTE_US
    heard = adapter.listen(
        world,
        known_of(lived.key, sensors),
        lived.readings,
        from_us=lived.from_us,
        to_us=lived.to_us,
        boards=[word for word in lived.boards if word[1] in world.boards],
        planned=lived.planned,
        refits=range(lived.from_us + refit_every_days * day_us, lived.to_us, refit_every_days * day_us),
        history=learned(lived.key).readings,
        worked=learned(lived.key).planned,
    )
    rings = []
    right = 0
    for ring in heard.rings:
        is_hot = any(a <= ring.at_us <= b for a, b in lived.excursions)
        if is_hot and {"temperature", "temperature_2"} & set(ring.series):
            right += 1
            continue
        why = blamed(lived.found, ring.at_us)
        rings.append(
            (
                ring.cause,
                ring.priority.value,
                why.name if why else "nothing",
                bool(why and why.is_told),
                ring.at_us,
            )
        )
    return Month(lived.index, sensors, world, rings, MONTH_DAYS, right), heard
