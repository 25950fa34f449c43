"""Many settings on one recording, on several cores: each is replayed by the engine itself and scored."""

from __future__ import annotations

import multiprocessing
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
from collector.replay import Replay
from collector.settings import read_text
from collector.telling import people_of
from collector.tuning.candidates import Candidate
from collector.tuning.choosing import Tried, Week
from collector.tuning.editing import patched
from collector.tuning.parameters import Parameter
from rules import HOUR_US, Annotation, score

WEEK_US = 7 * 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Part:
    """One recording, what was learned of it (once and for all settings), and what truly happened in it."""

    recording: Recording
    versions: tuple[Version | HeatVersion, ...]
    annotations: tuple[Annotation, ...]


@dataclass(frozen=True, slots=True)
class Recorded:
    """All that stays the same: the recordings, the works, and the file that is tuned."""

    parts: tuple[Part, ...]
    works: tuple[RecurringWork, ...]
    text: str
    folder: Path
    answered_after_us: int | None


def try_one(recorded: Recorded, configuration: Configuration, candidate: Candidate) -> Tried:
    """Replay all recordings with a configuration, and score what came of each week."""
    weeks: list[Week] = []
    for part in recorded.parts:
        weeks += _weeks(recorded, part, configuration)
    return Tried(candidate, tuple(weeks))


def _weeks(recorded: Recorded, part: Part, configuration: Configuration) -> Iterator[Week]:
    people = people_of(configuration, channel_names)
    replay = Replay(configuration, people, recorded.answered_after_us)
    replayed = replay.recording(part.recording, recorded.works, part.versions)
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
    for start_us in range(first_us, last_us + 1, WEEK_US):
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
    text = patched(recorded.text, changes)
    return read_text(text, "the configuration with these values", recorded.folder).configuration


_recorded: Recorded | None = None


def _begin(recorded: Recorded) -> None:
    global _recorded
    _recorded = recorded


def _task(changes: dict[tuple[str, ...], str], candidate: Candidate) -> Tried:
    if _recorded is None:
        raise AssertionError("the process has begun with a recording")
    return try_one(_recorded, configuration_of(_recorded, changes), candidate)


def search(
    recorded: Recorded,
    parameters: Sequence[Parameter],
    candidates: Sequence[Candidate],
    workers: int,
    progress: Callable[[int], object] = lambda _: None,
) -> tuple[Tried, ...]:
    """What comes of each combination, in their order.

    Raises
    ------
    ConfigError
        If a value is not one of its key; it is found before anything is replayed.
    """
    changes = [dict(zip((one.path for one in parameters), one, strict=True)) for one in candidates]
    _check(recorded, parameters)
    if workers <= 1:
        found = []
        for change, candidate in zip(changes, candidates, strict=True):
            found.append(try_one(recorded, configuration_of(recorded, change), candidate))
            progress(1)
        return tuple(found)
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _begin, (recorded,)) as pool:
        return tuple(_counted(pool.map(_task, changes, candidates), progress))


def _check(recorded: Recorded, parameters: Sequence[Parameter]) -> None:
    """Each value by itself: what cannot be is told with its key, not after minutes."""
    for parameter in parameters:
        for value in parameter.values:
            try:
                configuration_of(recorded, {parameter.path: value})
            except ConfigError as error:
                raise ConfigError(f"--try {parameter.key}={value}: {error}") from error


def _counted(results: Iterator[Tried], progress: Callable[[int], object]) -> Iterator[Tried]:
    for one in results:
        progress(1)
        yield one
