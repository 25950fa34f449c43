"""Is everybody there who should speak: boards by their last will, series by their last reading?"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence

from collector.checks.finding import Finding, Verdict
from collector.configuration import BoardConfiguration, Configuration
from collector.errors import StoreError
from collector.store import BoardState, LatestReading, StoreReader
from collector.wording.times import moment_text
from rules import TWO_STATE, SeriesRules

_PART = "boards"
_NAMED = 4


def check_boards(configuration: Configuration, now_us: int) -> Iterator[Finding]:
    """Look at what each board and series said last; nothing while there is no store."""
    if not configuration.store.path.is_file():
        return
    try:
        with StoreReader(configuration.store.path) as reader:
            states = {(one.tank, one.name): one for one in reader.boards()}
            latest = {(one.series.tank, one.series.name): one for one in reader.latest()}
    except (StoreError, sqlite3.Error):
        return  # the check of the store says so
    zones = {tank.name: tank.rules.time_zone for tank in configuration.tanks}
    for board in configuration.boards:
        yield _board(board, states.get((board.tank, board.name)), zones[board.tank])
    yield from _series(configuration.engine.series, latest, zones, now_us)


def _board(board: BoardConfiguration, state: BoardState | None, zone: str) -> Finding:
    name = f"{board.tank}/{board.name}"
    if state is None:
        return Finding(
            _PART,
            Verdict.NOTE,
            f"{name} has never said that it is there",
            f'it must publish "{board.online}", and have the last will "{board.offline}", at {board.topic}',
        )
    since = moment_text(state.since_us, zone)
    if state.is_online:
        return Finding(_PART, Verdict.WELL, f"{name} is connected since {since}")
    return Finding(
        _PART,
        Verdict.WRONG,
        f"{name} is gone since {since}",
        "look at its power supply, its cable and the network; then start it anew",
    )


def _series(
    series: Sequence[SeriesRules],
    latest: dict[tuple[str, str], LatestReading],
    zones: dict[str, str],
    now_us: int,
) -> Iterator[Finding]:
    """Those that never spoke, those that are silent, and how many are neither."""
    never, count = [], 0
    for one in series:
        name, last = f"{one.tank}/{one.name}", latest.get((one.tank, one.name))
        if last is None:
            never.append(name)
        elif _is_silent(one, last, now_us):
            since = moment_text(last.observed_us, zones[one.tank])
            yield Finding(
                _PART,
                Verdict.WRONG,
                f"{name} has said nothing since {since}",
                "look at its board and probe; [[sources]] must still name the topic at which it publishes",
            )
        else:
            count += 1
    if never:
        more = f" and {len(never) - _NAMED} more" if len(never) > _NAMED else ""
        named = ", ".join(never[:_NAMED]) + more
        yield Finding(
            _PART,
            Verdict.NOTE,
            f"no reading has ever come of {named}",
            "[[sources]] must name the topics at which the boards publish, and each board must have its user "
            "and password at the broker: `mosquitto_sub -v -t 'boards/#'`, as one who may, shows what comes",
        )
    if count:
        yield Finding(_PART, Verdict.WELL, f"readings come of {count} of {len(series)} series")


def _is_silent(series: SeriesRules, last: LatestReading, now_us: int) -> bool:
    # Contacts and states speak when they change.
    if series.gap is None or series.quantity in TWO_STATE:
        return False
    return now_us - last.observed_us > series.gap.fail_after_us
