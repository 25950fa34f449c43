"""What a replay is fed: files with what goes with them, a database, or the store; and what each lacks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from collector.configuration import Configuration
from collector.database import Past
from collector.errors import ConfigError
from collector.learning import HeatVersion, Version, recorded_versions
from collector.recordings import Recording, join
from collector.recurrence import RecurringWork
from collector.replay.hearing import Replayed
from collector.replay.run import Replay
from collector.store import RecordedBlock, StoreReader

Progress = Callable[[int], object]


class Input(Protocol):
    """Something that can be replayed."""

    @property
    def count(self) -> int:
        """How many readings there are."""
        ...

    @property
    def recording(self) -> Recording:
        """Its readings by time."""
        ...

    @property
    def lacks(self) -> tuple[str, ...]:
        """What the service would have known beside them, a sentence each."""
        ...

    @property
    def versions(self) -> tuple[Version | HeatVersion, ...]:
        """What had been learned, as far as it is known beforehand."""
        ...

    def replay(self, replay: Replay, progress: Progress) -> Replayed:
        """Feed it."""
        ...


@dataclass(frozen=True, slots=True)
class FromFiles:
    """Readings out of files, and the works that are known beside them."""

    recording: Recording
    works: tuple[RecurringWork, ...] = ()
    learns: bool = False
    versions: tuple[Version | HeatVersion, ...] = ()

    @property
    def count(self) -> int:
        """See `Input`."""
        return len(self.recording)

    @property
    def lacks(self) -> tuple[str, ...]:
        """See `Input`."""
        found = []
        if not self.learns:
            found.append("what was learned (faults are judged as in the first week: --learn)")
        if not self.works:
            found.append("planned work (what your hands did may ring: --plan)")
        found += ["which board was away", "who answered"]
        return tuple(found)

    def replay(self, replay: Replay, progress: Progress) -> Replayed:
        """See `Input`."""
        return replay.recording(self.recording, self.works, progress=progress, learns=self.learns)


@dataclass(frozen=True, slots=True)
class FromStore:
    """What the service recorded in its store: readings as they came, and all that it knew beside them."""

    blocks: tuple[RecordedBlock, ...]
    versions: tuple[Version | HeatVersion, ...]

    @property
    def count(self) -> int:
        """See `Input`."""
        return sum(len(one.block) for one in self.blocks)

    @property
    def recording(self) -> Recording:
        """See `Input`."""
        return join(
            [Recording(one.block.times_us, one.block.values, one.block.series) for one in self.blocks]
        )

    @property
    def lacks(self) -> tuple[str, ...]:
        """See `Input`."""
        return ("who answered",)

    def replay(self, replay: Replay, progress: Progress) -> Replayed:
        """See `Input`."""
        return replay.store(self.blocks, self.versions, progress)


def from_database(
    past: Past,
    configuration: Configuration,
    span_us: tuple[int, int],
    works: tuple[RecurringWork, ...] = (),
    *,
    learns: bool = False,
    progress: Progress = lambda _count: None,
) -> FromFiles:
    """What a time-series database has of a span, as if it came out of files.

    Parameters
    ----------
    past
        The database.
    span_us
        From an instant up to, not including, another.
    progress
        Told how many readings each answer held.

    Raises
    ------
    ConfigError
        If that is nothing.
    DatabaseError
        If it cannot be asked.
    """
    parts = []
    for index, one in enumerate(configuration.series):
        found = past.readings(one.tank, one.name, *span_us)
        progress(len(found.times_us))
        series = np.full(len(found.times_us), index, np.int64)
        parts.append(Recording(found.times_us, found.values, series))
    recording = join(parts)
    if not len(recording):
        raise ConfigError(
            "the database holds no readings of these series in that time; `brinebell check` says whether it "
            "answers, and --from and --to which time is meant"
        )
    return FromFiles(recording, works, learns)


def from_store(
    reader: StoreReader,
    configuration: Configuration,
    look_back_us: int,
    from_us: int | None,
    to_us: int | None,
) -> FromStore:
    """What was recorded from an instant to another, and before it as much as the engine looks back.

    Raises
    ------
    ConfigError
        If that is nothing.
    """
    first_us = 0 if from_us is None else from_us - look_back_us
    ids = [_id(reader, one.tank, one.name) for one in configuration.series]
    blocks = [
        one for one in reader.recorded_blocks(ids, first_us) if to_us is None or one.committed_us < to_us
    ]
    if not any(len(one.block) for one in blocks):
        raise ConfigError(
            "the store holds no readings of these series in that time; "
            "`brinebell check` says what there is, and --from and --to which time is meant"
        )
    return FromStore(tuple(blocks), tuple(recorded_versions(reader, ids, first_us)))


def _id(reader: StoreReader, tank: str, name: str) -> int:
    try:
        return reader.series_id(tank, name)
    except KeyError:
        # No series has it: the configuration knows one of which nothing came.
        return 0
