"""Many settings on one recording, on several cores: each is judged and scored."""

from __future__ import annotations

import multiprocessing
import tomllib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from collector.configuration import Configuration
from collector.delivery import channel_names
from collector.errors import ConfigError
from collector.learning import HeatVersion, Version
from collector.recordings import Recording
from collector.recurrence import RecurringWork
from collector.replay import Hearing, Replay, Replayed
from collector.settings import read_written
from collector.telling import people_of
from collector.tuning.candidates import Candidate
from collector.tuning.choosing import Tried, Week
from collector.tuning.editing import with_changes
from collector.tuning.parameters import Parameter
from rules import HOUR_US, Annotation, EngineRules, Keeper, Reruns, but_limits, score

WEEK_US = 7 * 24 * HOUR_US
# So often each process is given combinations to try: progress is seen, and neighbours share what was kept.
_CHUNKS = 16


@dataclass(frozen=True, slots=True)
class Part:
    """One recording, what was learned of it (once and for all settings), and what truly happened in it."""

    recording: Recording
    versions: tuple[Version | HeatVersion, ...]
    annotations: tuple[Annotation, ...]

    @property
    def weeks(self) -> range:
        """Where its weeks begin."""
        times_us = self.recording.times_us
        return range(int(times_us[0]), int(times_us[-1]) + 1, WEEK_US) if len(times_us) else range(0)


@dataclass(frozen=True, slots=True)
class Recorded:
    """All that stays the same: the recordings, the works, and the file that is tuned."""

    parts: tuple[Part, ...]
    works: tuple[RecurringWork, ...]
    text: str
    folder: Path
    answered_after_us: int | None


class Trials:
    """Tries configurations on the same recordings.

    What limits have no part in is gone through once for all configurations that differ in limits alone; those
    that differ in more are each gone through by the engine.
    """

    def __init__(self, recorded: Recorded) -> None:
        self._recorded = recorded
        self._passes: list[_Pass] = []

    def try_one(self, configuration: Configuration, candidate: Candidate) -> Tried:
        """Judge all recordings by a configuration, and score what came of each week."""
        weeks: list[Week] = []
        for part, replayed in zip(
            self._recorded.parts, self._pass_of(configuration).replayed(configuration), strict=True
        ):
            weeks += _weeks(part, replayed)
        return Tried(candidate, tuple(weeks))

    def _pass_of(self, configuration: Configuration) -> _Pass:
        base = but_limits(configuration.engine)
        found = next((one for one in self._passes if one.base == base), None)
        if found is None:
            found = _Pass(base, self._recorded, configuration)
            # Of all but the last two only the newest is likely to be asked for again.
            self._passes = [*self._passes[-1:], found]
        return found


class _Pass:
    """What the engine went through by one configuration, limits left out (`base`)."""

    def __init__(self, base: EngineRules, recorded: Recorded, configuration: Configuration) -> None:
        self.base = base
        self._answered_after_us = recorded.answered_after_us
        self._parts = [_kept(part, recorded, configuration) for part in recorded.parts]

    def replayed(self, configuration: Configuration) -> Iterator[Replayed]:
        """What comes of each recording."""
        people = people_of(configuration, channel_names)
        for first_us, ends_us, reruns in self._parts:
            hearing = Hearing(configuration, people, self._answered_after_us)
            hearing.begin(first_us)
            for end_us, one in zip(ends_us, reruns.run(configuration.engine), strict=True):
                hearing.hear(one.events, one.suppressed, end_us)
            yield hearing.end()


def _kept(part: Part, recorded: Recorded, configuration: Configuration) -> tuple[int, list[int], Reruns]:
    """When a recording begins, when its blocks end, and what came of them whatever the limits are."""
    keeper = Keeper()
    replay = Replay(configuration, keeper=keeper)
    replay.recording(part.recording, recorded.works, part.versions)
    first_us = int(part.recording.times_us[0]) if len(part.recording) else 0
    return first_us, replay.ends_us, Reruns(keeper.blocks)


def _weeks(part: Part, replayed: Replayed) -> Iterator[Week]:
    found = score(part.annotations, replayed.opened, replayed.incidents, replayed.first_us, replayed.last_us)
    false = {one.number for one in found.false}
    nights = [
        ring.at_us
        for ring in replayed.rings
        if ring.is_night and not ring.is_quiet and ring.incident in false
    ]
    if not len(part.recording):
        return
    # From the recording, not from what rang: the weeks of all settings are the same.
    first_us, last_us = int(part.recording.times_us[0]), int(part.recording.times_us[-1])
    for start_us in part.weeks:
        end_us = start_us + WEEK_US if start_us + WEEK_US <= last_us else 2**62

        def is_in(at_us: int, week: tuple[int, int] = (start_us, end_us)) -> bool:
            return week[0] <= at_us < week[1]

        yield Week(
            tuple(one for one in found.found if is_in(max(first_us, one.annotation.from_us))),
            tuple(one for one in found.false if is_in(one.alarmed_at_us)),
            sum(map(is_in, nights)),
            tuple(one for one in replayed.incidents if is_in(one.alarmed_at_us)),
        )


def configuration_of(recorded: Recorded, changes: dict[tuple[str, ...], str]) -> Configuration:
    """The configuration with other values.

    Raises
    ------
    ConfigError
        If it would be none: the key is not known, or the value is not one of it.
    """
    written = with_changes(tomllib.loads(recorded.text), changes)
    origin = "the configuration with these values"
    return read_written(written, recorded.text, origin, recorded.folder).configuration


_begun: tuple[Recorded, Trials] | None = None


def _begin(recorded: Recorded) -> None:
    global _begun
    _begun = recorded, Trials(recorded)


def _task(changes: dict[tuple[str, ...], str], candidate: Candidate) -> Tried | None:
    if _begun is None:
        raise AssertionError("the process has begun with a recording")
    recorded, trials = _begun
    return _try(recorded, trials, changes, candidate)


def _try(
    recorded: Recorded, trials: Trials, changes: dict[tuple[str, ...], str], candidate: Candidate
) -> Tried | None:
    """None for a combination that is no configuration, such as an upper limit below the lower one."""
    try:
        configuration = configuration_of(recorded, changes)
    except ConfigError:
        return None
    return trials.try_one(configuration, candidate)


def search(
    recorded: Recorded,
    parameters: Sequence[Parameter],
    candidates: Sequence[Candidate],
    workers: int,
    progress: Callable[[int], object] = lambda _: None,
) -> tuple[Tried, tuple[Tried, ...]]:
    """What comes of the settings as they are, and of each combination that can be, in their order.

    Raises
    ------
    ConfigError
        If a value is not one of its key; it is found before anything is replayed.
    """
    _check(recorded, parameters)
    asked = [(), *candidates]
    changes = [dict(zip((one.path for one in parameters), one, strict=False)) for one in asked]
    found: list[Tried | None] = []
    if workers <= 1:
        trials = Trials(recorded)
        for change, candidate in zip(changes, asked, strict=True):
            found.append(_try(recorded, trials, change, candidate))
            progress(1)
    else:
        context = multiprocessing.get_context("spawn")
        chunk = max(1, len(asked) // (_CHUNKS * workers))
        with ProcessPoolExecutor(workers, context, _begin, (recorded,)) as pool:
            for one in pool.map(_task, changes, asked, chunksize=chunk):
                found.append(one)
                progress(1)
    before, *tried = found
    if before is None:
        raise AssertionError("the settings as they are have been read before")
    return before, tuple(one for one in tried if one is not None)


def _check(recorded: Recorded, parameters: Sequence[Parameter]) -> None:
    """Each value by itself: what cannot be is told with its key, not after minutes."""
    for parameter in parameters:
        for value in parameter.values:
            try:
                configuration_of(recorded, {parameter.path: value})
            except ConfigError as error:
                raise ConfigError(f"--try {parameter.key}={value}: {error}") from error
